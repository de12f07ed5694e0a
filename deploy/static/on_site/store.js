// The queue in IndexedDB: records and photos in the order they were made, each with its person and
// visit. Bytes of photos lie apart, so that a list is read without them.
//
// state: "waiting" (on this phone only), "sending", "safe" (at the office), "refused", "given-up".
import { tell } from "./channel.js";

const NAME = "eavesbook-on-site";
const ITEMS = "items";
const BYTES = "bytes";
const NOTES = "notes";
const SAFE_DAYS = 7;
const DAY_MS = 24 * 3600 * 1000;

let opening = null;

function open() {
  opening ??= new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => {
      const items = request.result.createObjectStore(ITEMS, { keyPath: "seq", autoIncrement: true });
      items.createIndex("id", "id", { unique: true });
      items.createIndex("person", "person");
      request.result.createObjectStore(BYTES);
      request.result.createObjectStore(NOTES);
    };
    request.onsuccess = () => {
      request.result.onversionchange = () => request.result.close();
      request.result.onclose = () => { opening = null; };
      resolve(request.result);
    };
    request.onerror = () => reject(request.error);
  });
  opening.catch(() => { opening = null; });
  return opening;
}

/** Runs `work(store...)` in one transaction and gives its request's result once it is on disk. */
async function within(stores, mode, work) {
  const database = await open();
  return new Promise((resolve, reject) => {
    const transaction = database.transaction(stores, mode, { durability: "strict" });
    const request = work(...stores.map((name) => transaction.objectStore(name)));
    transaction.oncomplete = () => resolve(request && request.result);
    transaction.onerror = () => reject(transaction.error);
    transaction.onabort = () => reject(transaction.error || new Error("Not stored."));
  });
}

/** Puts a new item at the end of the queue, with the bytes of a photo; both or nothing. */
export async function add(item, bytes = null) {
  await within([ITEMS, BYTES], "readwrite", (items, all) => {
    if (bytes) all.put(bytes, item.id);
    return items.add({ state: "waiting", tries: 0, ...item });
  });
  tell("queue", { id: item.id, state: "waiting" });
}

/** Changes some fields of an item; null when it is not there any more. */
export async function change(id, fields) {
  let changed = null;
  await within([ITEMS], "readwrite", (items) => {
    const found = items.index("id").get(id);
    found.onsuccess = () => {
      if (!found.result) return;
      changed = { ...found.result, ...fields };
      items.put(changed);
    };
  });
  if (changed) tell("queue", { id, state: changed.state });
  return changed;
}

/** The office has it: the bytes may go, the item and its small picture stay for a while. */
export async function settle(id, fields) {
  await within([ITEMS, BYTES], "readwrite", (items, bytes) => {
    const found = items.index("id").get(id);
    found.onsuccess = () => {
      if (!found.result) return;
      items.put({ ...found.result, ...fields, state: "safe", reason: "", errors: [] });
      bytes.delete(id);
    };
  });
  tell("queue", { id, state: "safe" });
}

export function get(id) {
  return within([ITEMS], "readonly", (items) => items.index("id").get(id));
}

/** Every item in order, of everybody who used this phone. */
export function all() {
  return within([ITEMS], "readonly", (items) => items.getAll());
}

export async function ofPerson(person) {
  return (await all()).filter((item) => item.person === person);
}

export function bytesOf(id) {
  return within([BYTES], "readonly", (bytes) => bytes.get(id));
}

export const isUnsent = (item) => item.state === "waiting" || item.state === "sending";
export const isOnPhoneOnly = (item) => isUnsent(item) || item.state === "refused";

/** Takes away what the office has had for a week, and what was given up as long ago. */
export async function tidy(now = Date.now()) {
  const old = (item) =>
    !isOnPhoneOnly(item) && now - Date.parse(item.ended_at || item.phone_at) > SAFE_DAYS * DAY_MS;
  const gone = (await all()).filter(old);
  if (!gone.length) return;
  await within([ITEMS, BYTES], "readwrite", (items, bytes) => {
    gone.forEach((item) => {
      items.delete(item.seq);
      bytes.delete(item.id);
    });
  });
}

/** Small facts beside the queue: the clock, the last answer of the office. */
export function note(name) {
  return within([NOTES], "readonly", (notes) => notes.get(name));
}

export function keepNote(name, value) {
  return within([NOTES], "readwrite", (notes) => notes.put(value, name));
}
