// The line of health: the broker, each source of events, each node, the model clock, and what was counted.

import { find, make, say } from "./dom.js";

const MARKS = { up: "●", lost: "✕", failing: "✕", never: "○", unheard: "○" };
const NODE_WORDS = { up: "answers: ", lost: "does not answer: ", unheard: "was not heard yet: " };
const SOURCE_WORDS = {
  up: "can be heard: ",
  lost: "cannot be heard: ",
  failing: "cannot be heard: ",
  unheard: "was not heard yet: ",
};
const COUNTED = {
  events: ["event from the layout", "events from the layout"],
  refused: ["message not understood", "messages not understood"],
  changes: ["change of aspect", "changes of aspect"],
  frames: ["frame made", "frames made"],
};

/** Build the line for a layout. Returns `{update(now)}`. */
export function buildHealth(layout) {
  const driven = layout.chains.filter((chain) => chain.length > 0); // nobody waits for what is only planned
  const names = [...new Set(driven.map((chain) => chain.node))];
  const broker = buildLink("broker", {});
  const nodes = new Map(names.map((name) => [name, buildLink(name, NODE_WORDS)]));
  const sources = new Map(layout.sources.map((name) => [name, buildLink(`source ${name}`, SOURCE_WORDS)]));
  const links = [broker, ...sources.values(), ...nodes.values()];
  find("links").replaceChildren(...links.map((link) => link.element));

  const clock = buildFigure("model clock", "model clock");
  const counts = Object.entries(COUNTED).map(([key, words]) => [key, buildFigure(...words)]);
  find("counts").replaceChildren(clock.element, ...counts.map(([, figure]) => figure.element));

  return {
    update(now) {
      broker.update(now.broker ?? { state: "never" });
      for (const [name, link] of sources) link.update(now.sources?.[name] ?? { state: "unheard" });
      for (const [name, link] of nodes) link.update(now.nodes?.[name] ?? { state: "unheard" });
      clock.update(now.clock ?? "no");
      for (const [key, figure] of counts) figure.update(now.counts?.[key] ?? 0);
    },
  };
}

/** A link with its state in words; the text alone has to say it where there are none. */
function buildLink(name, words) {
  const mark = make("span", { class: "mark", "aria-hidden": "true" });
  const state = make("span", { class: "state" });
  const text = make("span", { class: "text" });
  const element = make("p", { class: "pill" }, mark, make("strong", {}, name), " ", state, text);
  return {
    element,
    update(now) {
      element.setAttribute("data-state", now.state);
      say(mark, MARKS[now.state] ?? "○");
      say(state, words[now.state] ?? "");
      say(text, now.text ?? "");
    },
  };
}

function buildFigure(one, many) {
  const label = make("dt");
  const value = make("dd");
  function update(now) {
    say(label, now === 1 ? one : many);
    say(value, typeof now === "number" ? now.toLocaleString("en") : now);
  }
  return { element: make("div", {}, label, value), update };
}
