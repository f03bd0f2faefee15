// The table of signals and lights: what each shows, why, and since when. Always in words.

import { find, make, say } from "./dom.js";

/** Build the table's lines. Returns `{update(now)}`; the filter box works by itself. */
export function buildDevices(layout) {
  const lines = layout.devices.map(buildLine);
  const filter = find("filter");

  function sift() {
    const wanted = filter.value.trim().toLowerCase();
    let shown = 0;
    for (const line of lines) {
      line.row.hidden = !line.row.textContent.toLowerCase().includes(wanted);
      shown += line.row.hidden ? 0 : 1;
    }
    say(find("found"), wanted === "" ? `${lines.length} in all` : `${shown} of ${lines.length}`);
  }

  find("device-rows").replaceChildren(...lines.map((line) => line.row));
  filter.oninput = sift;
  sift();
  return {
    update(devices) {
      for (const line of lines) line.update(devices[line.name]);
      sift();
    },
  };
}

function buildLine(device) {
  const cell = (label, ...children) => make("td", { role: "cell", "data-label": label }, ...children);
  const aspect = make("span", { class: "aspect" });
  const test = make("strong", { class: "tested" });
  const reason = make("span");
  const since = make("time");
  const kind = [device.kind, device.effect].filter(Boolean).join(", ");
  const row = make(
    "tr",
    { role: "row", "data-device": device.name },
    make("th", { role: "rowheader", scope: "row" }, make("span", {}, device.title ?? device.name), " ", make("small", {}, kind)),
    cell("Shows", aspect, test),
    cell("Because", reason),
    cell("Since", since),
  );
  return {
    name: device.name,
    row,
    update(now) {
      say(aspect, now?.aspect ?? "not known yet");
      say(test, now?.tested ? " but its lamps show a lamp test" : "");
      say(reason, now?.reason ?? "");
      say(since, now?.since ?? "");
    },
  };
}
