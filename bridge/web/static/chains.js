// The chains, each a shelf on which its fixtures stand in wiring order.

import { make, say } from "./dom.js";
import { bytes, lensLight, level } from "./light.js";
import { drawFixture } from "./mast.js";

/** Build the shelves for a layout. Returns `{element, update(now, changed), veil()}`. */
export function buildChains(layout) {
  const shelves = layout.chains.map((chain) => buildShelf(chain, layout.devices));
  const element = make("div", {}, ...shelves.map((shelf) => shelf.element));
  return {
    element,
    update: (now, changed) => shelves.forEach((shelf) => shelf.update(now, changed)),
    veil: () => shelves.forEach((shelf) => shelf.veil()),
  };
}

function buildShelf(chain, devices) {
  const key = `${chain.node}/${chain.chain}`;
  const state = make("p", { class: "state" });
  const figures = make("p", { class: "figures" });
  const reading = make("div", { class: "bytes", hidden: "" });
  const cards = chain.fixtures.map((fixture) => {
    const own = devices.filter((device) => device.chain === key && device.fixture === fixture.name);
    return buildCard(fixture, own);
  });
  let frame = null;
  let pinned = null;
  let pointed = null;

  function read() {
    const card = pointed ?? pinned;
    for (const other of cards) other.button.setAttribute("aria-pressed", String(other === pinned));
    reading.hidden = card === null;
    reading.replaceChildren(...(card === null ? [] : card.read(frame)));
  }

  for (const card of cards) {
    const point = (target) => () => {
      pointed = target;
      read();
    };
    card.button.addEventListener("pointerenter", point(card));
    card.button.addEventListener("pointerleave", point(null));
    card.button.addEventListener("focus", point(card));
    card.button.addEventListener("blur", point(null));
    card.button.addEventListener("click", () => {
      pinned = pinned === card ? null : card;
      pointed = null;
      read();
    });
  }

  const title = make("h3", {}, make("span", {}, chain.node), " / ", make("span", {}, chain.chain));
  const shelf = make("ol", { class: "shelf" }, ...cards.map((card) => card.element));
  const element = make("article", { class: "chain" }, make("header", {}, title, state, figures), shelf, reading);

  function showFrame() {
    for (const card of cards) card.light(frame);
    read();
  }

  function update(now, changed) {
    if (changed.frames && key in changed.frames) {
      const hex = now.frames[key];
      frame = hex === undefined ? null : bytes(hex);
      showFrame();
    }
    if (changed.nodes) {
      const node = now.nodes[chain.node] ?? { state: "unheard" };
      element.setAttribute("data-node", node.state);
    }
    const trouble = { lost: "The node does not answer: its lamps may differ.", unheard: "The node was not heard yet: its lamps may differ." };
    const words = frame === null ? "No frame was sent yet." : (trouble[element.getAttribute("data-node")] ?? "");
    say(state, words);
    const own = Object.entries(now.chains?.[key] ?? {}).map(([name, figure]) => `${name} ${figure}`);
    say(figures, [`${chain.length} bytes by ${chain.output}`, ...own].join(" · "));
    if (changed.devices) for (const card of cards) card.word(now.devices);
  }

  function veil() {
    frame = null;
    showFrame();
    say(state, "");
  }

  return { element, update, veil };
}

function positionText(fixture) {
  if (fixture["position text"]) return fixture["position text"];
  return fixture.first === fixture.last ? String(fixture.first) : `${fixture.first}–${fixture.last}`;
}

function buildCard(fixture, devices) {
  const isLight = devices.length > 0 && devices.every((device) => device.kind === "light");
  const { svg, lenses } = drawFixture(fixture, isLight);
  const position = positionText(fixture);
  const words = make("span", { class: "word" });
  const button = make(
    "button",
    { type: "button", "aria-pressed": "false" },
    svg,
    make(
      "span",
      { class: "texts" },
      make("span", { class: "plate" }, make("span", { class: "unseen" }, "position "), make("b", {}, position)),
      make("span", { class: "name" }, fixture.name),
      words,
    ),
  );
  const element = make("li", { "data-fixture": fixture.name }, button);

  /** The sentence and the list that say byte by byte what this fixture was told. */
  function read(frame) {
    const place = `position ${position}, build ${fixture.build}, line ${fixture.line} of the layout file`;
    const lines = lenses.map(({ head, lens }) => {
      const name = [head, lens.label].filter(Boolean).join(" ");
      const told = lens.dies.map((die) => dieText(die, frame)).join(", ");
      return make("li", {}, make("span", { class: "label" }, name), ` ${told}`);
    });
    return [make("p", {}, make("strong", {}, fixture.name), ` ${place}`), make("ul", {}, ...lines)];
  }

  function light(frame) {
    for (const { lens, show } of lenses) show(lensLight(lens, frame));
  }

  function word(now) {
    say(words, devices.map((device) => now[device.name]?.aspect ?? "not known yet").join(", "));
  }

  light(null);
  return { element, button, read, light, word };
}

function dieText(die, frame) {
  if (frame === null || die.byte >= frame.length) return `byte ${die.byte}: not known now`;
  const lit = Math.round(100 * level(die, frame));
  return `byte ${die.byte} = ${frame[die.byte]}${die.inverted ? " inverted" : ""} (${lit} %)`;
}
