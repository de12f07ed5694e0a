// A visit that is stopped on this phone, whether or not the office knows yet: its steps are shut, with
// the reason. The cautions, more words about the stop, photos of what was found and leaving stay.
const STAYS = /^\/on-site\/visits\/\d+\/(stop\/|leave\/|photos\/other\/)?$/;
const RECORDED_AFTER = ["stop-work", "leave"];

/** As at the office: an unsafe answer to a question of danger stops work as much as saying so. */
export const stopsWork = (item) => item.kind === "stop-work" || item.unsafe === "stops";

/** The record that stopped the visit, of its items; one that the office refused stops nothing. */
export const stopAmong = (items) =>
  items.find((item) => item.type === "record" && item.state !== "refused" && stopsWork(item));

let stopped = false;

/** Shuts what is shut on a stopped visit: the rows and buttons of its page, or a step's whole page. */
export function shutIfStopped(items) {
  stopped = Boolean(stopAmong(items));
  const isMending = new URLSearchParams(location.search).has("edit");
  const isShut = stopped && !isMending && !STAYS.test(location.pathname);
  document.body.toggleAttribute("data-shut", isShut);
  if (isShut) shutPage();
  if (stopped) shutLinks();
  const send = stopped && document.querySelector("[data-stop-now]");
  if (send) send.textContent = "Tell the office more";
}

/** Nothing is stored after all where the stop came while the form stood open. */
export function beginStopped() {
  document.addEventListener("record-checking", (event) => {
    if (!stopped || RECORDED_AFTER.includes(event.target.dataset.record)) return;
    if (event.target.dataset.item) return;
    event.detail.problems = [{ field: "", message: WORDS }];
  });
}

export const WORDS =
  "Work on this visit is stopped: nothing more is laid or recorded. Photos of what you found, more " +
  "about the stop, and leaving are still taken.";

function shutPage() {
  const main = document.getElementById("main");
  if (!main.querySelector("[data-shut-words]")) {
    const words = document.createElement("div");
    words.className = "caution stack";
    words.dataset.shutWords = "";
    const text = document.createElement("p");
    text.textContent = WORDS;
    words.append(text, ...linksOf(document.body.dataset.visit));
    main.append(words);
  }
  const bar = document.getElementById("action-bar");
  if (bar.querySelector("[data-shut-back]")) return;
  const back = link("/on-site/visits/" + document.body.dataset.visit + "/", "Back to the visit");
  back.className = "button button-big";
  back.dataset.shutBack = "";
  bar.replaceChildren(back);
}

function linksOf(visit) {
  const base = "/on-site/visits/" + visit + "/";
  const row = document.createElement("p");
  row.className = "actions";
  row.append(link(base + "stop/", "Cautions, and more about the stop"), " ");
  row.append(link(base + "photos/other/", "Photo of what you found"));
  return [row];
}

function link(href, words) {
  const made = document.createElement("a");
  made.className = "button";
  made.href = href;
  made.textContent = words;
  return made;
}

/** On the visit's own page: rows and buttons lead nowhere but to what stays. */
function shutLinks() {
  document.querySelectorAll(".work > li[data-step]:not([data-step=leave]) a.work-row[href]").forEach(shut);
  document.querySelectorAll("#main .actions a[href]").forEach((each) => {
    const path = new URL(each.href).pathname;
    if (!path.startsWith("/on-site/visits/")) return;
    if (!STAYS.test(path)) return shut(each);
    if (path.endsWith("/stop/")) each.textContent = "Cautions, and more about the stop";
    if (path.endsWith("/photos/other/")) each.textContent = "Photo of what you found";
  });
}

function shut(each) {
  each.removeAttribute("href");
  each.setAttribute("aria-disabled", "true");
  each.classList.add("is-shut");
}
