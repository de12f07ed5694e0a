// Sends what waits: one page or worker at a time, records of a visit in the order they were made,
// photos beside them. Nothing is taken from the queue before the office said it is stored.
import { tell } from "./channel.js";
import { clockOffset } from "./clock.js";
import { askOffice, meaningOf, reasonIn, send } from "./office.js";
import { bytesOf, change, all, isUnsent, settle } from "./store.js";
import { sendPhoto } from "./uploads.js";

const WAITS_MS = [1000, 2000, 5000, 10000, 30000, 60000];

let running = null;
let wanted = false;

/** Sends everything that is due; resolves to whether something still waits. */
export function sendAll() {
  wanted = true;
  running ??= loop();
  return running;
}

async function loop() {
  try {
    while (wanted) {
      wanted = false;
      await alone(run);
    }
  } finally {
    running = null;
  }
  return (await all()).some(isUnsent);
}

function alone(work) {
  return navigator.locks ? navigator.locks.request("eavesbook-sending", work) : work();
}

async function run() {
  if (!(await all()).some(isDue)) return;
  const office = await askOffice();
  if (office.kind !== "here") return;
  const mine = (await all()).filter((item) => item.person === String(office.person.id) && isDue(item));
  const session = new Session(office);
  await Promise.all([
    sendRecords(mine.filter((item) => item.type === "record"), session),
    sendPhotos(mine.filter((item) => item.type === "photo"), session),
  ]);
}

function isDue(item) {
  return isUnsent(item) && (item.next_try_at || 0) <= Date.now();
}

/** One run: whose it is, its token, and whether it has to end. */
class Session {
  constructor(office) {
    this.person = office.person.id;
    this.csrf = office.csrf;
    this.over = false;
  }

  /**
   * After a 403: a new token to try once more with, or the end of the run. Signing in changes the
   * token, so what was begun for one person is never sent on as another.
   */
  async renew() {
    const office = await askOffice();
    this.over = office.kind !== "here" || office.person.id !== this.person;
    if (!this.over) this.csrf = office.csrf;
    return !this.over;
  }
}

async function sendRecords(items, session) {
  const held = new Set();
  for (const item of items) {
    if (session.over) return;
    if (held.has(item.visit)) continue;
    await change(item.id, { state: "sending" });
    const answer = await posted(item, session);
    if (!(await conclude(item, answer, session))) held.add(item.visit);
  }
}

async function posted(item, session, again = false) {
  const answer = await send(item.endpoint, {
    method: "POST",
    headers: {
      "Content-Type": "application/json",
      Accept: "application/json",
      "X-CSRFToken": session.csrf,
    },
    body: JSON.stringify(bodyOf(item, new Date().toISOString())),
  });
  if (answer.kind !== "answer") return answer;
  const meaning = meaningOf(answer.status);
  if (meaning === "forbidden" && !again) {
    return (await session.renew()) ? posted(item, session, true) : { kind: "signed-out" };
  }
  if (meaning === "safe") return answer.body ? stored(answer.body) : { kind: "wait" };
  if (meaning === "refused" || meaning === "forbidden") {
    const errors = (answer.body && answer.body.errors) || [];
    return { kind: "refused", reason: reasonIn(answer.body, answer.status), errors };
  }
  return { kind: meaning };
}

/** A record as the office takes it: the form's fields, its key, and the phone's two times. */
export function bodyOf(item, sentAt) {
  const shared = { visit: Number(item.visit), client_key: item.id, phone_at: item.phone_at, phone_sent_at: sentAt };
  if (!item.wrap) return { ...item.body, ...shared };
  return { ...shared, [item.wrap]: [{ ...item.body, client_key: item.id, phone_at: item.phone_at }] };
}

function stored(body) {
  const lists = Object.values(body).filter((value) => Array.isArray(value) && value[0] && value[0].id);
  const record = body.id ? body : lists.length ? lists[0][0] : body;
  return {
    kind: "safe",
    record_id: record.id,
    stored_at: record.stored_at || record.received_at || new Date().toISOString(),
    words_of_office: body.words || record.words || "",
  };
}

async function sendPhotos(items, session) {
  for (const item of items) {
    if (session.over) return;
    await change(item.id, { state: "sending" });
    const bytes = await bytesOf(item.id);
    if (!bytes) {
      const reason = "Its picture is not on this phone any more. Take it again.";
      await conclude(item, { kind: "refused", reason, errors: [] }, session);
      continue;
    }
    let answer = await sendPhoto(item, bytes, session.csrf, (fields) => change(item.id, fields));
    if (answer.kind === "forbidden" && (await session.renew())) {
      answer = await sendPhoto(item, bytes, session.csrf, (fields) => change(item.id, fields));
      if (answer.kind === "forbidden") answer = { kind: "refused", reason: "Your role may not send photos here." };
    } else if (answer.kind === "forbidden") {
      answer = { kind: "signed-out" };
    }
    await conclude(item, answer, session);
  }
}

/** Writes down what became of an item; false when it waits and holds up what comes after it. */
async function conclude(item, answer, session) {
  if (answer.kind === "safe") {
    const { kind, ...told } = answer;
    const heard_at = new Date(Date.now() + (await clockOffset())).toISOString();
    await settle(item.id, { ...told, heard_at, ended_at: new Date().toISOString() });
    return true;
  }
  if (answer.kind === "refused") {
    await change(item.id, { state: "refused", reason: answer.reason, errors: answer.errors || [] });
    return true;
  }
  const tries = item.tries + 1;
  const waits = answer.kind === "wait";
  const pause = waits ? WAITS_MS[Math.min(tries, WAITS_MS.length) - 1] : 0;
  await change(item.id, { state: "waiting", tries, next_try_at: Date.now() + pause });
  if (!waits) {
    session.over = true;
    tell("office", { kind: answer.kind });
  }
  return false;
}

/** Lets everything that waits be tried at once, such as when the signal is back. */
export async function forgetPauses() {
  for (const item of (await all()).filter((each) => isUnsent(each) && each.next_try_at > Date.now())) {
    await change(item.id, { next_try_at: 0 });
  }
}
