// One fixture on its shelf: the drawing, its name, what it shows in words, and its bytes for who asks.

import { make, say } from "./dom.js";
import { lensLight, level } from "./light.js";
import { drawFixture } from "./mast.js";

/** Build a fixture's card. Returns `{element, button, read(frame), light(frame), word(devices)}`. */
export function buildCard(fixture, devices) {
  const areLights = devices.length > 0 && devices.every((device) => device.kind === "light");
  const playing = devices.every((device) => device.effect);
  const { svg, lenses } = drawFixture(fixture, areLights, playing);
  const position = positionText(fixture);
  const words = make("span", { class: "words" });
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

  function read(frame) {
    const place = `position ${position}, build ${fixture.build}, line ${fixture.line} of the layout file`;
    const lines = lenses.map(({ head, lens }) => {
      const name = [head, lens.label].filter(Boolean).join(" ");
      return make("li", {}, make("span", { class: "label" }, name), ` ${bytesText(lens, frame)}`);
    });
    const note = "Bytes are counted from 1 in the levels of this chain's frame; hex is as on the wire.";
    return [
      make("p", {}, make("strong", {}, fixture.name), ` ${place}`),
      make("ul", {}, ...lines),
      make("p", {}, note),
    ];
  }

  function light(frame) {
    for (const { lens, show } of lenses) show(lensLight(lens, frame));
  }

  const lines = wordLines(devices);
  words.append(...lines.map((line) => line.element));

  function word(now) {
    for (const { device, aspect } of lines) {
      if (device !== null) say(aspect, now[device.name]?.tested ? "lamp test" : wordOf(device, now[device.name]?.aspect));
    }
  }

  light(null);
  return { element, button, read, light, word };
}

function positionText(fixture) {
  if (fixture["position text"]) return fixture["position text"];
  return fixture.first === fixture.last ? String(fixture.first) : `${fixture.first}–${fixture.last}`;
}

/** What a device shows; of a light that is on also what it does. */
function wordOf(device, aspect) {
  if (aspect === undefined) return "not known yet";
  return aspect === "on" && device.effect ? `on, ${device.effect}` : aspect;
}

/** A line for each device, in the order of their lenses; with its name where there are several. */
function wordLines(devices) {
  if (devices.length === 0) {
    const aspect = make("span", {}, "no signal or light uses it");
    return [{ device: null, aspect, element: make("span", { class: "word" }, aspect) }];
  }
  const sorted = [...devices].sort((one, other) => one.lenses[0] - other.lenses[0]);
  return sorted.map((device) => {
    const aspect = make("span", {});
    const name = devices.length > 1 ? [`${device.name}: `] : [];
    return { device, aspect, element: make("span", { class: "word" }, ...name, aspect) };
  });
}

/** The bytes of a lens in the order in which they go out. */
function bytesText(lens, frame) {
  const dies = [...lens.dies].sort((one, other) => one.byte - other.byte);
  const places = placesText(dies.map((die) => die.byte + 1));
  if (frame === null || dies.some((die) => die.byte >= frame.length)) return `not known now — ${places}`;
  const told = dies.map((die) => {
    const name = die.name === lens.label ? "" : `${die.name} `;
    const share = die.inverted ? ` (inverted: ${Math.round(100 * level(die, frame))} % light)` : "";
    return `${name}${frame[die.byte]}${share}`;
  });
  const hex = dies.map((die) => frame[die.byte].toString(16).padStart(2, "0"));
  return `${told.join(", ")} — ${places}, hex ${hex.join(" ")}`;
}

/** `byte 4`, `bytes 1–3` or `bytes 4, 6`. */
function placesText(places) {
  if (places.length === 1) return `byte ${places[0]}`;
  const last = places[places.length - 1];
  const unbroken = last - places[0] === places.length - 1;
  return `bytes ${unbroken ? `${places[0]}–${last}` : places.join(", ")}`;
}
