// One fixture as a small drawing: its lenses where they sit, top to bottom, on a mast or under a shade; the
// lenses of a light that has several are the windows of a house.

import { draw } from "./dom.js";

const WIDTH = 64;
const MIDDLE = WIDTH / 2;
const RADIUS = 8.5;
const PITCH = 22;
const PAD = 3.5;
const GAP = 7; // between two heads
const POST = 26; // bare mast under the lowest head
const ROOF = 20;
const WALL = 22; // half the breadth of a house

/** Draw a fixture. Returns `{svg, lenses}`, the lenses in the order of the description. */
export function drawFixture(fixture, areLights) {
  const several = fixture.heads.reduce((sum, head) => sum + head.lenses.length, 0) > 1;
  if (areLights && several) return drawHouse(fixture);
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
  return { svg: picture(foot, post, ...parts), lenses };
}

function drawHouse(fixture) {
  const lenses = [];
  let y = ROOF + PAD;
  for (const head of fixture.heads) {
    for (const lens of head.lenses) {
      lenses.push({ head: head.name, lens, ...drawWindow(MIDDLE, y + PITCH / 2) });
      y += PITCH;
    }
  }
  const foot = y + PAD;
  const walls = draw("rect", { class: "walls", x: MIDDLE - WALL, y: ROOF, width: 2 * WALL, height: foot - ROOF });
  const roof = draw("path", { class: "shade", d: `M${MIDDLE - WALL - 5} ${ROOF + 1}L${MIDDLE} 2l${WALL + 5} ${ROOF - 1}z` });
  return { svg: picture(foot, walls, roof, ...lenses.map((drawn) => drawn.group)), lenses };
}

function picture(height, ...parts) {
  const size = { width: WIDTH, height, viewBox: `0 0 ${WIDTH} ${height}`, "aria-hidden": "true" };
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
