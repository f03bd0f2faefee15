// The notes, newest first. The list is read whole at each new link, because a bridge that was started
// again counts from 1.

import { find, make } from "./dom.js";

const KEPT = 200;
const LEVELS = { info: "note", warning: "warning", error: "error" };

let newest = 0;

function add(notes) {
  const list = find("notes");
  for (const note of notes) {
    if (note.number <= newest) continue;
    newest = note.number;
    const level = make("span", { class: "level" }, LEVELS[note.level] ?? note.level);
    const text = make("span", { class: "text" }, note.text);
    list.prepend(make("li", { "data-level": note.level }, make("time", {}, note.time), " ", level, " ", text));
  }
  while (list.childElementCount > KEPT) list.lastElementChild.remove();
  list.hidden = list.childElementCount === 0;
  find("no-notes").hidden = !list.hidden;
}

export const addNotes = add;

/** Forget what is shown and read the notes anew. A link that falls meanwhile starts this again. */
export async function readNotes() {
  let notes;
  try {
    const answer = await fetch("api/notes?after=0");
    ({ notes } = await answer.json());
  } catch {
    return;
  }
  find("notes").replaceChildren();
  newest = 0;
  add(notes);
}
