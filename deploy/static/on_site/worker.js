// The service worker: serves on-site pages when there is no signal, keeps the day's pages, and
// sends what waits. Cached pages belong to whoever is signed in; signing in or out drops them.
import { tell } from "./channel.js";
import { askOffice } from "./office.js";
import { sendAll } from "./sender.js";
import { keepNote } from "./store.js";

const PAGES = "eavesbook-pages-";
const SHELL = "eavesbook-shell-";
const PATIENCE_MS = 500; // as long a page from the office is waited for when a kept one is there
const FRESH_MS = 10 * 60 * 1000;
const KEPT = [/^\/$/, /^\/on-site\//, /^\/load-lists\//, /^\/round-sheets\//, /^\/rounds\//, /^\/audit\/drawn\/\d+\/measure\/$/];
const NEVER_KEPT = [/^\/on-site\/phone\//, /\/correct\//];
const SMALL_PHOTO = /^\/photos\/\d+\/thumb\/$/;
const STEP_LINK = /href="(\/on-site\/visits\/\d+\/[^"?#]*)[^"]*"/g;

export function begin(settings) {
  const shellName = SHELL + settings.version;
  const pagesName = PAGES + settings.version;

  self.addEventListener("install", (event) => event.waitUntil(install()));
  self.addEventListener("activate", (event) => event.waitUntil(activate()));
  self.addEventListener("fetch", answer);
  self.addEventListener("message", (event) => obey(event));
  self.addEventListener("sync", (event) => {
    if (event.tag === "eavesbook-send") event.waitUntil(sendOrTryAgain());
  });

  /** All of the new shell, and every page kept so far made anew for it; else the old one stays. */
  async function install() {
    const shell = await caches.open(shellName);
    const how = settings.named ? {} : { cache: "no-cache" };
    await shell.addAll(settings.shell.map((url) => new Request(url, how)));
    const pages = await pagesKept();
    if (pages.length && (await askOffice()).kind !== "here") throw new Error("Signed out: later.");
    for (const url of pages) {
      if ((await keepPage(url, true)) === null) throw new Error("The signal went: later.");
    }
    await self.skipWaiting();
  }

  async function activate() {
    const mine = [shellName, pagesName];
    const names = (await caches.keys()).filter((name) => name.startsWith("eavesbook-"));
    await Promise.all(names.filter((name) => !mine.includes(name)).map((name) => caches.delete(name)));
    await self.clients.claim();
  }

  /** Addresses in the page caches of older versions. */
  async function pagesKept() {
    const urls = new Set();
    for (const name of (await caches.keys()).filter((each) => each.startsWith(PAGES))) {
      const requests = await (await caches.open(name)).keys();
      requests.forEach((request) => urls.add(new URL(request.url).pathname));
    }
    return [...urls].filter((path) => !SMALL_PHOTO.test(path));
  }

  function answer(event) {
    const request = event.request;
    const url = new URL(request.url);
    if (url.origin !== self.location.origin) return;
    if (request.method === "POST" && settings.signInAndOut.includes(url.pathname)) {
      event.respondWith(signInOrOut(request));
    } else if (request.method !== "GET") {
      return;
    } else if (url.pathname.startsWith("/static/")) {
      event.respondWith(fromShell(request));
    } else if (SMALL_PHOTO.test(url.pathname)) {
      event.respondWith(smallPhoto(request));
    } else if (request.mode === "navigate" && isKept(url.pathname)) {
      event.respondWith(page(event, url));
    }
  }

  const isKept = (path) =>
    KEPT.some((pattern) => pattern.test(path)) && !NEVER_KEPT.some((pattern) => pattern.test(path));

  async function fromShell(request) {
    const kept = await caches.match(request);
    return kept || fetch(request);
  }

  async function smallPhoto(request) {
    const kept = await caches.match(request);
    if (kept) return kept;
    const fresh = await fetch(request);
    if (fresh.ok) await (await caches.open(pagesName)).put(request, fresh.clone());
    return fresh;
  }

  /** The office's page if it comes soon; else the kept one, while the office's renews it behind. */
  async function page(event, url) {
    const pages = await caches.open(pagesName);
    const kept = await pages.match(url.pathname);
    const asked = signedIn;
    const fresh = fetch(event.request).then(async (given) => {
      if (keepable(given) && asked === signedIn) await pages.put(url.pathname, given.clone());
      if (given.ok) event.waitUntil(heard("here"));
      return given;
    });
    fresh.catch(() => heard("no-signal"));
    if (!kept) return fresh.catch(() => elsewhere(url));
    event.waitUntil(fresh.then(() => tell("renewed", { path: url.pathname }), () => {}));
    const soon = fresh.then(
      async (given) => (given.status >= 500 || (await asksToSignIn(given)) ? kept : given),
      () => kept
    );
    return Promise.race([soon, after(PATIENCE_MS).then(() => kept)]);
  }

  /** Signed out, one may go on with what is kept; the line at the top says so and leads to it. */
  async function asksToSignIn(given) {
    if (given.type !== "opaqueredirect") return false;
    const office = await askOffice();
    return office.kind === "signed-out";
  }

  /** Whether the office answered, for the line at the top of every page. */
  async function heard(kind) {
    await keepNote("office", { kind, at: Date.now() });
    tell("office", { kind });
  }

  /** Instead of a page that is not kept: the first page for the start, else words of what to do. */
  async function elsewhere(url) {
    const first = url.pathname === "/" ? await caches.match("/on-site/") : null;
    return first || (await caches.match(settings.noSignal)) || Response.error();
  }

  const keepable = (given) =>
    given.ok && !given.redirected && (given.headers.get("Content-Type") || "").startsWith("text/html");

  async function signInOrOut(request) {
    try {
      const given = await fetch(request);
      await forgetPages();
      return given;
    } catch {
      return (await caches.match(settings.noSignal)) || Response.error();
    }
  }

  let signedIn = 0; // counts who signed in or out: what was asked for before is not kept after
  async function forgetPages() {
    signedIn += 1;
    const names = (await caches.keys()).filter((name) => name.startsWith(PAGES));
    await Promise.all(names.map((name) => caches.delete(name)));
  }

  async function obey(event) {
    const asked = event.data || {};
    if (asked.ask === "send") event.waitUntil(sendAll());
    if (asked.ask === "keep") event.waitUntil(keepTheDay(asked.again === true));
    if (asked.ask === "renew") event.waitUntil(renew(asked.pages));
    if (asked.ask === "forget") event.waitUntil(forgetPages());
  }

  async function sendOrTryAgain() {
    if (await sendAll()) throw new Error("Something still waits; the browser tries again.");
  }

  let keeping = null;
  function keepTheDay(again) {
    keeping ??= keepDay(again).finally(() => { keeping = null; });
    return keeping;
  }

  /** The day's pages, and each step's page that a visit's page leads to. */
  async function keepDay(again) {
    const office = await askOffice();
    if (office.kind !== "here") return;
    const todo = [...office.pages];
    const seen = new Set(todo);
    while (todo.length) {
      const url = todo.shift();
      const text = await keepPage(url, again);
      if (text === null) break;
      for (const [, link] of /^\/on-site\/visits\/\d+\/$/.test(url) ? text.matchAll(STEP_LINK) : []) {
        if (!seen.has(link) && isKept(link)) {
          seen.add(link);
          todo.push(link);
        }
      }
    }
    tell("kept", { pages: seen.size });
  }

  async function renew(urls) {
    for (const url of urls.filter(isKept)) if ((await keepPage(url, true)) === null) return;
  }

  /** The text of a page, fetched unless a fresh one is kept; null when the office does not answer. */
  async function keepPage(url, again) {
    const pages = await caches.open(pagesName);
    const kept = await pages.match(url);
    const age = kept ? Date.now() - Date.parse(kept.headers.get("Date") || 0) : Infinity;
    if (kept && !again && age < FRESH_MS) return kept.text();
    const asked = signedIn;
    let given;
    try {
      given = await fetch(url, { credentials: "same-origin", headers: { Accept: "text/html" } });
    } catch {
      return null;
    }
    if (asked !== signedIn) return null;
    if (!keepable(given)) return "";
    await pages.put(url, given.clone());
    return given.text();
  }
}

const after = (ms) => new Promise((resolve) => setTimeout(resolve, ms));
