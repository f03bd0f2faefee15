// One fixture as a small drawing: its lenses where they sit, top to bottom, on a mast or under a shade.

import { draw } from "./dom.js";

const WIDTH = 64;
const MIDDLE = WIDTH / 2;
const RADIUS = 8.5;
const PITCH = 22;
const PAD = 3.5;
const GAP = 7; // between two heads
const POST = 26; // bare mast under the lowest head

/** Draw a fixture. Returns `{svg, lenses}`, the lenses in the order of the description. */
export function drawFixture(fixture, isLight) {
  const parts = [];
  const lenses = [];
  let top = isLight ? 15 : 3;
  for (const head of fixture.heads) {
    const height = head.lenses.length * PITCH + 2 * PAD;
    parts.push(isLight ? shade(top) : board(top, height));
    head.lenses.forEach((lens, i) => {
      const drawn = drawLens(MIDDLE, top + PAD + PITCH * (i + 0.5));
      parts.push(drawn.group);
      lenses.push({ head: head.name, lens, ...drawn });
    });
    top += height + (isLight ? GAP + 12 : GAP);
  }
  const foot = top - GAP + POST;
  const post = draw("path", { class: "post", d: `M${MIDDLE} 8V${foot}M${MIDDLE - 9} ${foot - 1.5}h18` });
  const size = { width: WIDTH, height: foot, viewBox: `0 0 ${WIDTH} ${foot}`, "aria-hidden": "true" };
  return { svg: draw("svg", size, post, ...parts), lenses };
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
  const group = draw("g", { class: "lens" }, halo, glass, light, glint);
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
