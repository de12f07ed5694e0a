// The page's side of keeping and sending: the worker is registered, asked to keep the day's pages,
// and to send; where there is no worker (yet), the page sends by itself.
import { get, isUnsent, ofPerson, tidy } from "./store.js";
import { listen } from "./channel.js";

const LOOKS_MS = [2000, 4000, 8000, 15000, 30000]; // ever longer while nothing gets through
const KEEPS_AFTER_MS = 1500;
const RENEWS_AFTER_MS = 4000;
const WORKER = "/on-site-worker.js";

export async function beginKeeping(person) {
  await register();
  window.addEventListener("online", () => sendNow());
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") sendNow();
  });
  lookAgain(person);
  sendIfAnything(person);
  tidy().catch(() => {});
  setTimeout(() => ask({ ask: "keep" }), KEEPS_AFTER_MS);
  listen((message) => {
    if (message.what === "queue" && message.state === "safe") renewSoon(message.id);
  });
}

async function register() {
  if (!navigator.serviceWorker) return;
  try {
    await navigator.serviceWorker.register(WORKER, { scope: "/", type: "module" });
  } catch (error) {
    console.warn("Pages are not kept for times without signal:", error);
  }
}

/** Tells the worker; false when there is none in charge of this page. */
export function ask(message) {
  const worker = navigator.serviceWorker && navigator.serviceWorker.controller;
  if (!worker) return false;
  worker.postMessage(message);
  return true;
}

/** Sends everything that waits, pauses forgotten. */
export async function sendNow() {
  const sender = await import("./sender.js");
  await sender.forgetPauses();
  if (!ask({ ask: "send" })) sender.sendAll();
  registerSync();
}

let looks = 0;
let timer = null;

/** Looks at the queue after a while, and after every piece of good news from the start again. */
function lookAgain(person) {
  const next = () => {
    clearTimeout(timer);
    timer = setTimeout(async () => {
      looks += 1;
      await sendIfAnything(person);
      next();
    }, LOOKS_MS[Math.min(looks, LOOKS_MS.length - 1)]);
  };
  listen((message) => {
    const isNews = message.what === "queue" || (message.what === "office" && message.kind === "here");
    if (!isNews || looks === 0) return;
    looks = 0;
    next();
  });
  next();
}

async function sendIfAnything(person) {
  if (!(await ofPerson(person)).some(isUnsent)) return;
  if (ask({ ask: "send" })) return;
  (await import("./sender.js")).sendAll();
}

/** Background Sync: the browser wakes the worker when there is signal, the page closed or not. */
async function registerSync() {
  try {
    const registration = await navigator.serviceWorker.ready;
    if (registration.sync) await registration.sync.register("eavesbook-send");
  } catch {
    // refused or unknown: the page's own looks at the queue do without
  }
}

const old = new Set();
let renewing = null;

/** What the office has since got changes few pages: those are kept anew, a while after the last. */
async function renewSoon(id) {
  const item = await get(id);
  if (!item) return;
  const ofVisit = /^\d+$/.test(item.visit) ? ["/on-site/", "/on-site/visits/" + item.visit + "/"] : [];
  [...ofVisit, item.page].forEach((page) => old.add(page));
  clearTimeout(renewing);
  renewing = setTimeout(() => {
    ask({ ask: "renew", pages: [...old] });
    old.clear();
  }, RENEWS_AFTER_MS);
}

/** Asks that the browser never clears the queue by itself, once there is something to lose. */
export async function askToPersist() {
  try {
    if (navigator.storage && navigator.storage.persist) await navigator.storage.persist();
  } catch {
    // the list says whether it is granted
  }
}

/** {used, quota, persisted}, bytes; zeros where the browser does not tell. */
export async function storageState() {
  const storage = navigator.storage;
  const estimate = storage && storage.estimate ? await storage.estimate() : {};
  const persisted = storage && storage.persisted ? await storage.persisted() : false;
  return { used: estimate.usage || 0, quota: estimate.quota || 0, persisted };
}
