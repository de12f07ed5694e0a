// Photos by the tus 1.0 protocol: in chunks, each with its checksum, going on where it broke off.
import "../vendor/tus/tus-4.3.1.min.js";
import { checksumOf } from "./hash.js";
import { meaningOf, reasonIn } from "./office.js";
import { sameElsewhere } from "./words.js";

const CHUNK_BYTES = 256 * 1024;
const LEAST_CHUNK = 64 * 1024;
const MOST_CHUNK = 1024 * 1024;
const WANTED_MS = 4000; // a chunk that is lost should not have cost more than this
const CHUNK_PATIENCE_MS = 120000;

/** tus-js-client's way to the network: fetch, since a service worker has nothing else. */
class FetchStack {
  createRequest(method, url) {
    return new FetchRequest(method, url);
  }

  getName() {
    return "FetchStack";
  }
}

class FetchRequest {
  constructor(method, url) {
    this.method = method;
    this.url = url;
    this.headers = {};
    this.controller = new AbortController();
  }

  getMethod() { return this.method; }
  getURL() { return this.url; }
  setHeader(name, value) { this.headers[name] = value; }
  getHeader(name) { return this.headers[name]; }
  setProgressHandler() {} // fetch tells nothing before a chunk is through
  getUnderlyingObject() { return this.controller; }

  async send(body = null) {
    const bytes = body ? await body.arrayBuffer() : null;
    const checksum = bytes ? await checksumOf(bytes) : "";
    if (checksum) this.headers["Upload-Checksum"] = checksum;
    const patience = setTimeout(() => this.controller.abort(), CHUNK_PATIENCE_MS);
    try {
      const answer = await fetch(this.url, {
        method: this.method,
        headers: this.headers,
        body: bytes,
        credentials: "same-origin",
        cache: "no-store",
        signal: this.controller.signal,
      });
      return new FetchAnswer(answer, await answer.text());
    } finally {
      clearTimeout(patience);
    }
  }

  async abort() { this.controller.abort(); }
}

class FetchAnswer {
  constructor(answer, text) {
    this.answer = answer;
    this.text = text;
  }

  getStatus() { return this.answer.status; }
  getHeader(name) { return this.answer.headers.get(name) ?? undefined; }
  getBody() { return this.text; }
  getUnderlyingObject() { return this.answer; }
}

/**
 * Sends a photo, or what is left of it.
 *
 * Gives {kind: "safe", photo_id, stored_at, repeat} only when the office named the photo it stored;
 * else {kind: "refused", reason}, {kind: "signed-out"}, {kind: "forbidden"}, {kind: "no-signal"} or
 * {kind: "wait"}. `progress({upload_url, sent_bytes})` is called as it goes.
 */
export function sendPhoto(item, bytes, csrf, progress) {
  return new Promise((resolve) => {
    let began = performance.now();
    const done = (answer) => {
      upload.abort().catch(() => {});
      resolve(answer);
    };
    const upload = new self.tus.Upload(bytes, {
      endpoint: new URL("/uploads/", self.location.origin).href,
      uploadUrl: item.upload_url || null,
      chunkSize: item.chunk_bytes || CHUNK_BYTES,
      metadata: metadataOf(item),
      headers: { "X-CSRFToken": csrf, Accept: "application/json" },
      httpStack: new FetchStack(),
      storeFingerprintForResuming: false,
      retryDelays: [300, 1500],
      onShouldRetry: (error) => mayGoOn(error),
      onUploadUrlAvailable: () => progress({ upload_url: upload.url }),
      onBeforeRequest: () => { began = performance.now(); },
      onAfterResponse: (request, answer) => {
        const stored = storedBy(answer, item);
        if (stored) done(stored);
      },
      onChunkComplete: (size, sent) => {
        upload.options.chunkSize = nextChunk(upload.options.chunkSize, performance.now() - began);
        progress({ sent_bytes: sent, chunk_bytes: upload.options.chunkSize });
      },
      onSuccess: () => resolve({ kind: "wait", reason: "The office has not said it is stored." }),
      onError: (error) => resolve(failureOf(error)),
    });
    upload.start();
  });
}

function metadataOf(item) {
  const said = {
    ...item.more,
    visit: item.visit,
    moment: item.moment,
    point_label: item.point,
    client_key: item.id,
    phone_at: item.phone_at,
    phone_sent_at: new Date().toISOString(),
    phone_taken_at: item.taken_at,
    filename: item.filename,
    filetype: item.filetype,
    sha256: item.sha256,
  };
  return Object.fromEntries(Object.entries(said).filter(([, value]) => value !== "" && value != null));
}

/** The same bytes at another point show nothing new: the office keeps them once, where they were. */
function storedBy(answer, item) {
  const id = answer.getHeader("Photo-Id");
  if (!id || answer.getStatus() >= 300) return null;
  const [moment, ...label] = decodeURIComponent(answer.getHeader("Photo-Place") || "").split(" ");
  const point = label.join(" ");
  if (moment && (moment !== item.moment || point !== item.point)) {
    return { kind: "refused", reason: sameElsewhere({ type: "photo", moment, point }), errors: [] };
  }
  return {
    kind: "safe",
    photo_id: Number(id),
    stored_at: answer.getHeader("Photo-Stored-At") || new Date().toISOString(),
    repeat: answer.getHeader("Photo-Repeat") === "true",
  };
}

function nextChunk(size, took_ms) {
  if (took_ms < WANTED_MS / 4) return Math.min(size * 2, MOST_CHUNK);
  if (took_ms > WANTED_MS) return Math.max(Math.floor(size / 2), LEAST_CHUNK);
  return size;
}

function mayGoOn(error) {
  const status = error.originalResponse ? error.originalResponse.getStatus() : 0;
  return status === 0 || status === 409 || status === 423 || status === 460 || status >= 500;
}

function failureOf(error) {
  const answer = error.originalResponse;
  if (!answer) return { kind: "no-signal" };
  const status = answer.getStatus();
  const meaning = status === 409 ? "wait" : meaningOf(status);
  if (meaning !== "refused") return { kind: meaning === "safe" ? "wait" : meaning };
  let problem = null;
  try {
    problem = JSON.parse(answer.getBody());
  } catch {
    // the reason is then the status alone
  }
  return { kind: "refused", reason: reasonIn(problem, status), errors: (problem && problem.errors) || [] };
}
