// The next job at hand while this one is read: its page and its small pictures are fetched ahead
// and shown without waiting. The server logs that as sent ahead; that a page was shown is told to
// it when it is shown. Nothing typed is left behind: the caller asks `mayLeave` first.

import { token } from "./token.js";

const NOT_CONFIRMED = "eavesbook-read-not-confirmed";
const STALE_MS = 10 * 60 * 1000;
const ahead = new Map();
const root = () => document.querySelector("[data-reading-page]");

export const isAhead = (url) => {
  const known = ahead.get(new URL(url, location.href).pathname);
  return Boolean(known?.page) && performance.now() - known.at < STALE_MS;
};

/** Fetches a job's page and its small pictures, once, when the browser has nothing else to do. */
export function fetchAhead() {
  const url = root()?.dataset.ahead;
  if (!url || ahead.has(url) || url === location.pathname) return;
  const known = { at: performance.now(), page: null };
  ahead.set(url, known);
  const begin = async () => {
    try {
      const answer = await fetch(`${url}?ahead`, { headers: { Accept: "text/html" } });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (!answer.ok || answer.redirected || !page.querySelector("[data-reading-page]")) throw new Error("not it");
      known.page = page;
      known.pictures = [...page.querySelectorAll("[data-sheet] img")].map((shown) => {
        const picture = new Image();
        picture.fetchPriority = "low";
        picture.src = shown.getAttribute("src");
        return picture;
      });
    } catch {
      ahead.delete(url);
    }
  };
  (window.requestIdleCallback || ((act) => setTimeout(act, 200)))(begin, { timeout: 2000 });
}

/** Shows a job that is at hand, and tells the server that it is shown. */
export function show(url, { remember = true } = {}) {
  const path = new URL(url, location.href).pathname;
  const { page } = ahead.get(path);
  ahead.delete(path);
  for (const part of ["[data-reading-head]", "[data-reading-page]"]) {
    document.querySelector(part).replaceWith(document.adoptNode(page.querySelector(part)));
  }
  document.title = page.title;
  document.getElementById("messages")?.replaceChildren();
  if (remember) history.pushState({ shown: path }, "", path);
  window.htmx?.process(root());
  scrollTo(0, 0);
  document.getElementById("main").focus({ preventScroll: true });
  tellShown();
}

/** Reaches the server even when the page is left meanwhile. */
export function send(method, url, body = undefined, headers = {}) {
  return fetch(url, { method, body, keepalive: true, headers: { "X-CSRFToken": token(), ...headers } });
}

export const post = (url, headers = {}) => send("POST", url, undefined, headers);

/** The log hears of it; findings that came in since it was sent ahead take the list's place. */
async function tellShown() {
  const shown = root();
  try {
    const answer = await post(shown.dataset.shown);
    const list = document.getElementById("finding-list");
    if (!answer.ok) throw new Error("not logged");
    if (shown !== root() || !list) return;
    const told = new DOMParser().parseFromString(await answer.text(), "text/html");
    list.replaceWith(document.adoptNode(told.getElementById("finding-list")));
    window.htmx?.process(document.getElementById("finding-list"));
  } catch {
    location.reload(); // what is shown is logged, or it is not shown
  }
}

/** Marks a job as read while the next one is shown already; says so where it was not taken, on the
    page after that where this one had to go. */
export async function markRead(form, name) {
  const read = { name, address: location.pathname };
  remember(read);
  let refused = "";
  try {
    const answer = await post(form.action, { Accept: "application/json" });
    if (!answer.ok || answer.redirected) refused = await reasonIn(answer);
  } catch {
    refused = "The office could not be reached.";
  }
  if (refused) tellNotRead({ ...read, refused });
  else remember(null);
}

async function reasonIn(answer) {
  try { return (await answer.json()).refused; } catch { return "You are signed out, or the page is too old."; }
}

function remember(read) {
  try {
    if (read) sessionStorage.setItem(NOT_CONFIRMED, JSON.stringify(read));
    else sessionStorage.removeItem(NOT_CONFIRMED);
  } catch { /* said on this page alone */ }
}

/** What the page before this one could not learn any more; said once. */
export function tellNotConfirmed() {
  let read = null;
  try { read = JSON.parse(sessionStorage.getItem(NOT_CONFIRMED)); } catch { /* nothing is known */ }
  remember(null);
  if (read) tellNotRead({ ...read, refused: "The office did not confirm it." });
}

function tellNotRead({ name, address, refused }) {
  const said = document.createElement("p");
  const link = document.createElement("a");
  said.className = "message message-error";
  link.href = address;
  link.textContent = "Open it again";
  said.append(`${name} is not marked as read: ${refused} `, link);
  document.getElementById("messages").append(said);
}

addEventListener("popstate", () => location.reload());
