// The next job at hand while this one is read: its page and its small pictures are fetched ahead
// and shown without waiting. The server logs that as sent ahead; that a page was shown is told to
// it when it is shown. Nothing typed is left behind: the caller asks `mayLeave` first.

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

const token = () => document.querySelector("[name=csrfmiddlewaretoken]")?.value || "";

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
    if (!answer.ok || shown !== root() || !list) return;
    const told = new DOMParser().parseFromString(await answer.text(), "text/html");
    list.replaceWith(document.adoptNode(told.getElementById("finding-list")));
    window.htmx?.process(document.getElementById("finding-list"));
  } catch {
    location.reload(); // what is shown is logged, or it is not shown
  }
}

/** Marks a job as read while the next one is shown already; says so where it was not taken. */
export async function markRead(form, name) {
  const address = location.pathname;
  let refused = "";
  try {
    const answer = await post(form.action, { Accept: "application/json" });
    refused = answer.ok ? "" : (await answer.json()).refused;
  } catch {
    refused = "The office could not be reached.";
  }
  if (!refused) return;
  const said = document.createElement("p");
  const link = document.createElement("a");
  said.className = "message message-error";
  link.href = address;
  link.textContent = "Open it again";
  said.append(`${name} is not marked as read: ${refused} `, link);
  document.getElementById("messages").append(said);
}

addEventListener("popstate", () => location.reload());
