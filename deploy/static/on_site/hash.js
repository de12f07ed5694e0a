// SHA-256 by WebCrypto. A photo is hashed whole: the biggest a camera makes fits in memory, and
// WebCrypto has no way to feed it piece by piece.
const LARGEST_BYTES = 200 * 1024 * 1024;

async function digest(buffer) {
  return new Uint8Array(await crypto.subtle.digest("SHA-256", buffer));
}

/** Hex digest; empty where the browser offers none (no secure context) or the file is huge. */
export async function sha256Hex(buffer) {
  if (!self.crypto || !crypto.subtle || buffer.byteLength > LARGEST_BYTES) return "";
  return Array.from(await digest(buffer), (byte) => byte.toString(16).padStart(2, "0")).join("");
}

/** The value of tus's Upload-Checksum header for a chunk; empty as above. */
export async function checksumOf(buffer) {
  if (!self.crypto || !crypto.subtle) return "";
  return "sha256 " + btoa(String.fromCharCode(...(await digest(buffer))));
}

export function newKey() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 15) | 64;
  bytes[8] = (bytes[8] & 63) | 128;
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
}
