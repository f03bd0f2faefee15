// The page put together: what the link brings is merged into one picture, and each part draws its share.

import { buildChains } from "./chains.js";
import { buildDevices } from "./devices.js";
import { find, say } from "./dom.js";
import { buildHealth } from "./health.js";
import { keepLink } from "./link.js";
import { addNotes, readNotes } from "./notes.js";

const BY_NAME = ["frames", "devices", "nodes", "chains"];

let now = null; // the picture so far, null until the first whole one of this link
let parts = null;
let heardAt = null;

function merge(change) {
  for (const [key, value] of Object.entries(change)) {
    if (!BY_NAME.includes(key)) {
      now[key] = value;
      continue;
    }
    for (const [name, entry] of Object.entries(value)) {
      if (entry === null) delete now[key][name];
      else now[key][name] = entry;
    }
  }
}

function setLink(state, text, again = "") {
  document.body.setAttribute("data-link", state);
  say(find("link"), text);
  say(find("again"), again); // apart, so that not every try is read aloud
}

function heardLayout(layout) {
  now = null;
  say(find("layout-name"), layout.layout);
  say(find("bridge-name"), `bridge ${layout.bridge}`);
  document.title = `${layout.layout} - lamproom`;
  const chains = buildChains(layout);
  find("chains").replaceChildren(chains.element);
  parts = { chains, devices: buildDevices(layout), health: buildHealth(layout) };
}

function heardNow(change) {
  if (now === null) {
    now = Object.fromEntries(BY_NAME.map((key) => [key, Object.create(null)])); // a name may be "constructor"
    setLink("live", "Live: what changes on the layout shows here at once.");
    readNotes();
  }
  merge(change);
  sayLampTest(now["lamp test"]);
  parts.health.update(now);
  parts.chains.update(now, change);
  if (change.devices) parts.devices.update(now.devices);
}

function heard(message) {
  heardAt = new Date();
  if (message.layout) heardLayout(message.layout);
  if (message.now) heardNow(message.now);
  if (message.notes) addNotes(message.notes);
}

/** A lamp test shows false aspects, so it is said above everything else. */
function sayLampTest(test) {
  const line = find("lamp-test");
  line.hidden = !test?.state;
  if (test?.state) say(line, `Lamp test ${test.state}: ${test.text}.`);
}

function lost(seconds) {
  now = null;
  sayLampTest(null);
  parts?.chains.veil();
  const again = `Trying again in ${Math.max(1, Math.round(seconds))} s.`;
  if (heardAt === null) {
    setLink("lost", "lamproom does not answer.", again);
  } else {
    const time = heardAt.toLocaleTimeString("en-GB");
    setLink("lost", `The link to lamproom is lost. What stands below is old, from ${time}.`, again);
  }
}

keepLink({ heard, lost });
