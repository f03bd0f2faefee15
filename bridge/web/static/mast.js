// One fixture as a small drawing: its lenses where they sit, top to bottom, on a mast or under a shade; the
// lenses of a light that has several are the windows of a house, or, where all of them play something, the lamps of
// a board. Many of them stand in rows.

import { draw } from "./dom.js";

const WIDTH = 64; // at the least
const MIDDLE = WIDTH / 2;
const RADIUS = 8.5;
const PITCH = 22;
const PAD = 3.5;
const GAP = 7; // between two heads
const POST = 26; // bare mast under the lowest head
const ROOF = 20;
const WALL = 22; // half the breadth of a house with one window beside the other
const WINDOW = 31; // from one window to the next
const LAMP = 19.5; // from one lamp of a board to the next
const LEG = 12; // under a board
const STACKED = 4; // so many lenses stand above each other, and more of them in rows

/** Draw a fixture. Returns `{svg, lenses}`, the lenses in the order of the description. */
export function drawFixture(fixture, areLights, playing) {
  const several = fixture.heads.reduce((sum, head) => sum + head.lenses.length, 0) > 1;
  if (areLights && several) return playing ? drawBoard(fixture) : drawHouse(fixture);
  const parts = [];
  const lenses = [];
  let top = areLights ? 15 : 3;
  for (const head of fixture.heads) {
    const height = head.lenses.length * PITCH + 2 * PAD;
    parts.push(areLights ? shade(top) : board(top, height));
    head.lenses.forEach((lens, i) => {
      const drawn = drawLens(MIDDLE, top + PAD + PITCH * (i + 0.5));
      parts.push(drawn.group);
      lenses.push({ head: head.name, lens, ...drawn });
    });
    top += height + GAP;
  }
  const foot = top - GAP + POST;
  const post = draw("path", { class: "post", d: `M${MIDDLE} 8V${foot}M${MIDDLE - 9} ${foot - 1.5}h18` });
  return { svg: picture(foot, WIDTH, post, ...parts), lenses };
}

/** How many of so many lenses stand beside each other. */
function columnsFor(count) {
  if (count <= STACKED) return 1;
  return count <= 3 * STACKED ? 3 : 5;
}

function everyLens(fixture) {
  return fixture.heads.flatMap((head) => head.lenses.map((lens) => ({ head: head.name, lens })));
}

/** Put lenses in rows from the left, around the middle. Returns them drawn, and where the last row ends. */
function inRows(all, top, pitch, drawOne) {
  const columns = columnsFor(all.length);
  const lenses = all.map((each, i) => {
    const x = MIDDLE + ((i % columns) - (columns - 1) / 2) * pitch;
    const y = top + PITCH * (Math.floor(i / columns) + 0.5);
    return { ...each, ...drawOne(x, y) };
  });
  return { lenses, half: ((columns - 1) / 2) * pitch, end: top + PITCH * Math.ceil(all.length / columns) };
}

function drawHouse(fixture) {
  const { lenses, half, end } = inRows(everyLens(fixture), ROOF + PAD, WINDOW, drawWindow);
  const wall = WALL + half;
  const foot = end + PAD;
  const walls = draw("rect", { class: "walls", x: MIDDLE - wall, y: ROOF, width: 2 * wall, height: foot - ROOF });
  const roof = draw("path", { class: "shade", d: `M${MIDDLE - wall - 5} ${ROOF + 1}L${MIDDLE} 2l${wall + 5} ${ROOF - 1}z` });
  return { svg: picture(foot, 2 * wall + 12, walls, roof, ...lenses.map((drawn) => drawn.group)), lenses };
}

function drawBoard(fixture) {
  const { lenses, half, end } = inRows(everyLens(fixture), 3 + PAD, LAMP, drawLens);
  const foot = end + PAD + LEG;
  const wide = half + RADIUS + 2 * PAD;
  const post = draw("path", { class: "post", d: `M${MIDDLE} 8V${foot}M${MIDDLE - 9} ${foot - 1.5}h18` });
  const ground = draw("rect", { class: "board", x: MIDDLE - wide, y: 3, width: 2 * wide, height: end + PAD - 3, rx: 7 });
  return { svg: picture(foot, 2 * wide + 2, post, ground, ...lenses.map((drawn) => drawn.group)), lenses };
}

function picture(height, breadth, ...parts) {
  const width = Math.max(breadth, WIDTH);
  const size = { width, height, viewBox: `${MIDDLE - width / 2} 0 ${width} ${height}`, "aria-hidden": "true" };
  return draw("svg", size, ...parts);
}

function board(top, height) {
  const half = RADIUS + 2 * PAD;
  return draw("rect", { class: "board", x: MIDDLE - half, y: top, width: 2 * half, height, rx: 7 });
}

function shade(top) {
  const y = top + 5;
  return draw("path", {
    class: "shade",
    d: `M${MIDDLE - 18} ${y}q2-13 14-15v-4h8v4q12 2 14 15z`,
  });
}

function drawLens(x, y) {
  const halo = draw("circle", { class: "halo", cx: x, cy: y, r: RADIUS + 3.5 });
  const glass = draw("circle", { class: "glass", cx: x, cy: y, r: RADIUS });
  const light = draw("circle", { class: "light", cx: x, cy: y, r: RADIUS - 1.5 });
  const glint = draw("path", { class: "glint", d: `M${x - 4.5} ${y - 2}q1.2-3 4.5-3.4` });
  return shining(halo, glass, light, glint);
}

function drawWindow(x, y) {
  const pane = (name, width, height) =>
    draw("rect", { class: name, x: x - width / 2, y: y - height / 2, width, height, rx: 1.5 });
  const bars = draw("path", { class: "bars", d: `M${x} ${y - 6.5}v13M${x - 11.5} ${y}h23` });
  return shining(pane("halo", 29, 19), pane("glass", 25, 15), pane("light", 23, 13), bars);
}

function shining(halo, glass, light, over) {
  const group = draw("g", { class: "lens" }, halo, glass, light, over);
  return { group, show: (colour) => show(group, halo, light, colour) };
}

/** Give a lens its colour; null means that nobody can say. */
function show(group, halo, light, colour) {
  if (colour === null) {
    group.setAttribute("data-lit", "unknown");
    light.removeAttribute("fill");
    return;
  }
  const { red, green, blue } = colour;
  const brightest = Math.max(red, green, blue);
  const text = `rgb(${red}, ${green}, ${blue})`;
  group.setAttribute("data-lit", brightest > 0 ? "yes" : "no");
  light.setAttribute("fill", text);
  halo.setAttribute("fill", text);
  halo.setAttribute("fill-opacity", (0.6 * brightest) / 255);
}
