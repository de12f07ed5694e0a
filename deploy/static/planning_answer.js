// What a plan proposes: ticking a line ticks what it cannot do without; groups are ticked at once.

const form = document.getElementById("offers");
const boxes = [...form.querySelectorAll("input[name=line]")];
const byLine = new Map(boxes.map((box) => [box.value, box]));
const needs = new Map(boxes.map((box) => [box.value, (box.dataset.needs || "").split(" ").filter(Boolean)]));
const said = form.querySelector("[data-said]");

/** Tick or untick lines; what a ticked line needs is ticked, what needs an unticked one is not. */
function set(lines, ticked) {
  const also = [];
  const queue = [...lines];
  const seen = new Set(queue);
  while (queue.length) {
    const line = queue.shift();
    byLine.get(line).checked = ticked;
    const others = ticked
      ? needs.get(line)
      : boxes.map((box) => box.value).filter((value) => needs.get(value).includes(line));
    for (const other of others) {
      if (seen.has(other) || !byLine.has(other)) continue;
      seen.add(other);
      queue.push(other);
      if (byLine.get(other).checked !== ticked) also.push(other);
    }
  }
  return also;
}

function homeOf(line) {
  return document.querySelector(`#line-${line} .offer-words a`).textContent;
}

function say(also, ticked) {
  if (!said) return;
  const names = also.slice(0, 4).map(homeOf).join(", ");
  const more = also.length > 4 ? ` and ${also.length - 4} more` : "";
  said.textContent = also.length ? `${ticked ? "Ticked" : "Unticked"} with it: ${names}${more}.` : "";
}

/** Counts and group ticks follow what is ticked. */
function refresh() {
  const count = boxes.filter((box) => box.checked).length;
  for (const place of form.querySelectorAll("[data-count]")) place.textContent = count ? ` (${count})` : "";
  for (const group of form.querySelectorAll("[data-group]")) {
    const own = [...group.querySelectorAll("input[name=line]")];
    const ticked = own.filter((box) => box.checked).length;
    const all = group.querySelector("[data-ticks]");
    if (all) {
      all.checked = own.length > 0 && ticked === own.length;
      all.indeterminate = ticked > 0 && ticked < own.length;
    }
    const words = group.querySelector(":scope > summary [data-ticked]");
    if (words) words.textContent = ticked ? `${ticked} ticked` : "";
  }
}

form.addEventListener("change", ({ target }) => {
  const isGroup = target.hasAttribute("data-ticks");
  if (!isGroup && target.name !== "line") return;
  const lines = isGroup
    ? [...target.closest("[data-group]").querySelectorAll("input[name=line]")].map((box) => box.value)
    : [target.value];
  const ticked = target.checked;
  say(set(lines, ticked), ticked);
  refresh();
});

// A link to a partner opens the fold that it lies in.
function unfold() {
  const goal = location.hash.startsWith("#line-") && document.querySelector(location.hash);
  for (let fold = goal && goal.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
  if (goal) goal.scrollIntoView({ block: "center" });
}
addEventListener("hashchange", unfold);

for (const label of form.querySelectorAll(".tick-all")) {
  const group = label.closest("[data-group]");
  label.hidden = !group.querySelector("input[name=line]");
}
// What is ticked from the beginning brings along what it cannot do without.
set(boxes.filter((box) => box.checked).map((box) => box.value), true);
refresh();
unfold();

// Before promised visits change, the server asks again; its question is a dialog here.
document.body.addEventListener("htmx:afterSwap", ({ detail }) => {
  const dialog = detail.target.id === "offers-asked" && document.getElementById("sure");
  if (!dialog) return;
  dialog.showModal();
  dialog.querySelector("[data-leaves]").addEventListener("click", (event) => {
    event.preventDefault();
    dialog.close();
  });
});
