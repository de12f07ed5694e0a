// Telling what happens: a line for screen readers, and a note at the foot that stays until it is
// closed or the next one comes.

let said = 0;

/** Said aloud by a screen reader, politely; the same words twice are said twice. */
export function say(words) {
  const place = document.getElementById("planning-said");
  said += 1;
  place.textContent = words + (said % 2 ? "" : "\u00a0");
}

/**
 * A note with buttons. `kind`: "done" or "refused". `acts`: [[label, what to do]].
 * Returns the note.
 */
export function tell(kind, words, acts = []) {
  const place = document.getElementById("planning-told");
  const note = document.createElement("div");
  note.className = `told told-${kind}`;
  const text = document.createElement("p");
  const head = document.createElement("strong");
  head.textContent = { done: "Done", refused: "Not done", news: "News" }[kind];
  text.append(head, words);
  note.append(text);
  acts.forEach(([label, act]) => note.append(button(label, () => act(note))));
  note.append(button("Close", () => note.remove()));
  place.replaceChildren(note);
  say(`${head.textContent}. ${words}`);
  return note;
}

export function clearNotes() {
  document.getElementById("planning-told").replaceChildren();
}

function button(label, act) {
  const made = document.createElement("button");
  made.type = "button";
  made.className = "button button-small";
  made.textContent = label;
  made.addEventListener("click", act);
  return made;
}
