// Sends what waits: one page or worker at a time, records of a visit in the order they were made,
// then photos, two at a time. Nothing is taken from the queue before the office said it is stored.
import { tell } from "./channel.js";
import { clockOffset } from "./clock.js";
import { askOffice, meaningOf, reasonIn, send } from "./office.js";
import { bytesOf, change, all, isUnsent, settle } from "./store.js";
import { sendPhoto } from "./uploads.js";

const WAITS_MS = [1000, 2000, 5000, 10000, 30000, 60000];
const PHOTOS_AT_ONCE = 2; // one goes up while the office answers for the other
const RECORDED_ONCE = new Set(["arrival", "pre-start-check", "layer", "handover", "leave"]);

let running = null;
let wanted = false;
let session = null;

/** Sends everything that is due; resolves to whether something still waits. */
export function sendAll() {
  wanted = true;
  if (session) session.sendRecords();
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

/** Records first, which are small and in order; then photos, each lane the next one that is due. */
async function run() {
  if (!(await all()).some(isDue)) return;
  const office = await askOffice();
  if (office.kind !== "here") return;
  session = new Session(office);
  try {
    await session.sendRecords();
    await Promise.all(Array.from({ length: PHOTOS_AT_ONCE }, () => session.sendPhotos()));
    await session.records;
  } finally {
    session = null;
  }
}

function isDue(item) {
  return isUnsent(item) && (item.next_try_at || 0) <= Date.now();
}

/** One run: whose it is, its token, what it began, and whether it has to end. */
class Session {
  constructor(office) {
    this.person = String(office.person.id);
    this.csrf = office.csrf;
    this.over = false;
    this.held = new Set();
    this.begun = new Set();
    this.records = Promise.resolve();
  }

  /** What is due of this person and was not tried in this run. */
  async due(type) {
    const isMine = (item) => item.type === type && item.person === this.person;
    return (await all()).filter((item) => isMine(item) && isDue(item) && !this.begun.has(item.id));
  }

  /** Every record that is due, also those made while photos are on their way. */
  sendRecords() {
    this.records = this.records.then(() => sendRecords(this));
    return this.records;
  }

  async sendPhotos() {
    while (!this.over) {
      const item = (await this.due("photo")).find((each) => !this.begun.has(each.id));
      if (!item) return;
      this.begun.add(item.id);
      await sendOnePhoto(item, this);
    }
  }

  /**
   * After a 403: a new token to try once more with, or the end of the run. Signing in changes the
   * token, so what was begun for one person is never sent on as another.
   */
  async renew() {
    const office = await askOffice();
    this.over = office.kind !== "here" || String(office.person.id) !== this.person;
    if (!this.over) this.csrf = office.csrf;
    return !this.over;
  }
}

/** In the order they were made; one that has to wait holds up what comes after it on its visit. */
async function sendRecords(session) {
  for (const item of await session.due("record")) {
    if (session.over) return;
    if (session.held.has(item.visit)) continue;
    await change(item.id, { state: "sending" });
    const answer = await posted(item, session);
    if (!(await conclude(item, answer, session))) session.held.add(item.visit);
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

async function sendOnePhoto(item, session) {
  await change(item.id, { state: "sending" });
  const bytes = await bytesOf(item.id);
  if (!bytes) {
    const reason = "Its picture is not on this phone any more. Take it again.";
    await conclude(item, { kind: "refused", reason, errors: [] }, session);
    return;
  }
  const send = () => sendPhoto(item, bytes, session.csrf, (fields) => change(item.id, fields));
  let answer = await send();
  if (answer.kind === "forbidden" && (await session.renew())) {
    answer = await send();
    if (answer.kind === "forbidden") answer = { kind: "refused", reason: "Your role may not send photos here." };
  } else if (answer.kind === "forbidden") {
    answer = { kind: "signed-out" };
  }
  await conclude(item, answer, session);
}

/** Writes down what became of an item; false when it waits and holds up what comes after it. */
async function conclude(item, answer, session) {
  if (answer.kind === "safe") {
    const { kind, ...told } = answer;
    const heard_at = new Date(Date.now() + (await clockOffset())).toISOString();
    await settle(item.id, { ...told, heard_at, ended_at: new Date().toISOString() });
    if (RECORDED_ONCE.has(item.kind)) await letGoOfRefused(item);
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

/** What the office refused is let go of once it took the same step from a later record. */
async function letGoOfRefused(taken) {
  const isSame = (item) =>
    item.state === "refused" && item.seq < taken.seq && item.kind === taken.kind &&
    ["person", "visit", "step"].every((name) => item[name] === taken[name]);
  for (const item of (await all()).filter(isSame)) {
    const ended = { given_up_reason: "recorded again, which the office took", ended_at: new Date().toISOString() };
    await change(item.id, { state: "given-up", ...ended });
  }
}

/** Lets everything that waits be tried at once, such as when the signal is back. */
export async function forgetPauses() {
  for (const item of (await all()).filter((each) => isUnsent(each) && each.next_try_at > Date.now())) {
    await change(item.id, { next_try_at: 0 });
  }
}
