// The chains, each a shelf on which its fixtures stand in wiring order.

import { buildCard } from "./card.js";
import { make, say } from "./dom.js";
import { bytes } from "./light.js";

const WIDE = 7; // fixtures; a chain with more gets the whole width of the page

const TROUBLE = {
  lost: "The node does not answer: its lamps may differ.",
  unheard: "The node was not heard yet: its lamps may differ.",
};

/** Build the shelves for a layout. Returns `{element, update(now, changed), veil()}`. */
export function buildChains(layout) {
  const shelves = layout.chains.map((chain) => buildShelf(chain, layout.devices));
  const element = make("div", { class: "chains" }, ...shelves.map((shelf) => shelf.element));
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
    const own = devices.flatMap((device) =>
      device.places
        .filter((place) => place.chain === key && place.fixture === fixture.name)
        .map((place) => ({ ...device, lenses: place.lenses })),
    );
    return buildCard(fixture, own);
  });
  let frame = null;
  let chosen = null;

  function read() {
    reading.hidden = chosen === null;
    reading.replaceChildren(...(chosen === null ? [] : chosen.read(frame)));
  }

  function choose(card) {
    chosen = card;
    for (const other of cards) other.button.setAttribute("aria-pressed", String(other === chosen));
    read();
  }

  // Nothing opens or closes merely because the pointer passes: what stands below would jump away from it.
  for (const card of cards) {
    card.button.addEventListener("click", () => choose(chosen === card ? null : card));
    card.button.addEventListener("focus", () => {
      if (card.button.matches(":focus-visible")) choose(card);
    });
    card.button.addEventListener("keydown", (event) => {
      if (event.key === "Escape") choose(null);
    });
  }

  const title = make("h3", {}, make("span", {}, chain.node), " / ", make("span", {}, chain.chain));
  const shelf = make("ol", { class: "shelf" }, ...cards.map((card) => card.element));
  const wide = cards.length > WIDE ? " wide" : "";
  const element = make(
    "article",
    { class: `chain${wide}` },
    make("header", {}, title, state),
    shelf,
    reading,
    figures,
  );

  if (chain.planned) element.setAttribute("data-planned", "");

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
    if (chain.length === 0) {
      const why = chain.planned ? "Planned" : "All its chips are bypassed";
      say(state, `${why}: it gets no frames.`);
      say(figures, `reached by ${chain.output}`);
      if (changed.devices) for (const card of cards) card.word(now.devices);
      return;
    }
    const words = frame === null ? "No frame was sent yet." : (TROUBLE[element.getAttribute("data-node")] ?? "");
    say(state, words);
    const told = now.chains?.[key];
    say(figures, `${chain.length} bytes a frame, by ${chain.output}${told ? ` · ${told}` : ""}`);
    if (changed.devices) for (const card of cards) card.word(now.devices);
  }

  function veil() {
    frame = null;
    showFrame();
    say(state, "");
  }

  return { element, update, veil };
}
