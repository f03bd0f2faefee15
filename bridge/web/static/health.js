// The line of health: the broker, each node, the model clock, and what was counted.

import { find, make, say } from "./dom.js";

const MARKS = { up: "●", lost: "✕", never: "○", unheard: "○" };
const WORDS = { up: "up", lost: "lost", never: "not reached yet", unheard: "not heard yet" };
const COUNTED = { events: "events", refused: "refused", frames: "frames", changes: "changes" };

/** Build the line for a layout. Returns `{update(now)}`. */
export function buildHealth(layout) {
  const names = [...new Set(layout.chains.map((chain) => chain.node))];
  const broker = buildLink("Broker");
  const nodes = new Map(names.map((name) => [name, buildLink(name)]));
  find("links").replaceChildren(broker.element, ...[...nodes.values()].map((link) => link.element));

  const clock = buildFigure("model clock");
  const counts = Object.entries(COUNTED).map(([key, label]) => [key, buildFigure(label)]);
  find("counts").replaceChildren(clock.element, ...counts.map(([, figure]) => figure.element));

  return {
    update(now) {
      broker.update(now.broker ?? { state: "never" });
      for (const [name, link] of nodes) link.update(now.nodes?.[name] ?? { state: "unheard" });
      clock.update(now.clock ?? "none");
      for (const [key, figure] of counts) figure.update(now.counts?.[key] ?? 0);
    },
  };
}

function buildLink(name) {
  const mark = make("span", { class: "mark", "aria-hidden": "true" });
  const state = make("span", { class: "state" });
  const text = make("span", { class: "text" });
  const element = make("p", { class: "pill" }, mark, make("strong", {}, name), " ", state, " ", text);
  return {
    element,
    update(now) {
      element.setAttribute("data-state", now.state);
      say(mark, MARKS[now.state] ?? "○");
      say(state, WORDS[now.state] ?? now.state);
      say(text, now.text ?? "");
    },
  };
}

function buildFigure(label) {
  const value = make("dd");
  const element = make("div", {}, make("dt", {}, label), value);
  return { element, update: (now) => say(value, typeof now === "number" ? now.toLocaleString("en") : now) };
}
