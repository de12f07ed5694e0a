// Asking the office, and understanding its answers.
import { tell } from "./channel.js";
import { keepNote } from "./store.js";

export const PATIENCE_MS = 30000;
const REFUSES_FOR_GOOD = new Set([400, 404, 405, 409, 410, 411, 413, 414, 415, 422]);

/**
 * Who the office says is signed in. {kind: "here", person, csrf, pages} or {kind: "signed-out"} or
 * {kind: "no-signal"} or {kind: "wait"}. Also learns how far this phone's clock is off.
 */
export async function askOffice() {
  const asked = Date.now();
  let answer;
  try {
    answer = await fetch("/on-site/phone/", {
      credentials: "same-origin",
      cache: "no-store",
      headers: { Accept: "application/json" },
      signal: AbortSignal.timeout(PATIENCE_MS),
    });
  } catch {
    return said({ kind: "no-signal" });
  }
  if (answer.status === 401 || answer.status === 403) return said({ kind: "signed-out" });
  if (!answer.ok) return said({ kind: "wait" });
  try {
    const body = await answer.json();
    const offset = Math.round(Date.parse(body.now) - (asked + Date.now()) / 2);
    await keepNote("clock", { offset_ms: offset, at: Date.now() });
    return said({ kind: "here", ...body });
  } catch {
    return said({ kind: "wait" });
  }
}

async function said(office) {
  await keepNote("office", { kind: office.kind, at: Date.now() });
  tell("office", { kind: office.kind });
  return office;
}

/** A request to the office: {kind: "answer", status, body} or {kind: "no-signal"}. */
export async function send(url, options) {
  try {
    const answer = await fetch(url, {
      credentials: "same-origin",
      cache: "no-store",
      signal: AbortSignal.timeout(PATIENCE_MS),
      ...options,
    });
    const text = await answer.text();
    return { kind: "answer", status: answer.status, body: plain(text), url: answer.url };
  } catch {
    return { kind: "no-signal" };
  }
}

function plain(text) {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}

/** What an answer means for an item: "safe", "refused", "signed-out", "forbidden" or "wait". */
export function meaningOf(status) {
  if (status >= 200 && status < 300) return "safe";
  if (status === 401) return "signed-out";
  if (status === 403) return "forbidden";
  return REFUSES_FOR_GOOD.has(status) ? "refused" : "wait";
}

export function reasonIn(problem, status) {
  if (problem && (problem.detail || problem.title)) return problem.detail || problem.title;
  return "The office refused it (" + status + ") and gave no reason.";
}
