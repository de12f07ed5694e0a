// The last resort: everything on this phone as one ZIP file (stored, not compressed; PKWARE
// APPNOTE 6.3.3, sections 4.3.7, 4.3.12 and 4.3.16), to be carried to the office by hand.
import { bytesOf } from "./store.js";

const TABLE = Uint32Array.from({ length: 256 }, (_, n) => {
  let value = n;
  for (let bit = 0; bit < 8; bit += 1) value = value & 1 ? (value >>> 1) ^ 0xedb88320 : value >>> 1;
  return value >>> 0;
});

function crc32(bytes) {
  let value = 0xffffffff;
  for (let i = 0; i < bytes.length; i += 1) value = TABLE[(value ^ bytes[i]) & 255] ^ (value >>> 8);
  return (value ^ 0xffffffff) >>> 0;
}

/** A ZIP of the items (records.json) and the bytes of their photos. */
export async function zipOf(items) {
  const plain = items.map(({ thumb, seq, ...item }) => item);
  const words = JSON.stringify({ saved_at: new Date().toISOString(), items: plain }, null, 1);
  const files = [{ name: "records.json", bytes: new TextEncoder().encode(words) }];
  for (const item of items.filter((each) => each.type === "photo")) {
    const blob = await bytesOf(item.id);
    if (!blob) continue;
    const ending = (/\.[a-z0-9]+$/i.exec(item.filename || "") || [".jpg"])[0];
    files.push({ name: item.id + ending, bytes: new Uint8Array(await blob.arrayBuffer()) });
  }
  return new Blob(partsOf(files), { type: "application/zip" });
}

function partsOf(files) {
  const parts = [];
  const directory = [];
  let offset = 0;
  for (const file of files) {
    const name = new TextEncoder().encode(file.name);
    const crc = crc32(file.bytes);
    const local = header(0x04034b50, [], name, file.bytes.length, crc, []);
    directory.push(header(0x02014b50, [20], name, file.bytes.length, crc, offset));
    parts.push(local, name, file.bytes);
    directory.push(name);
    offset += local.length + name.length + file.bytes.length;
  }
  const length = directory.reduce((total, part) => total + part.length, 0);
  const end = new DataView(new ArrayBuffer(22));
  end.setUint32(0, 0x06054b50, true);
  end.setUint16(8, files.length, true);
  end.setUint16(10, files.length, true);
  end.setUint32(12, length, true);
  end.setUint32(16, offset, true);
  return [...parts, ...directory, new Uint8Array(end.buffer)];
}

/** A local header, or with `made` and an offset the same file's entry in the directory. */
function header(signature, made, name, size, crc, offset) {
  const central = made.length > 0;
  const view = new DataView(new ArrayBuffer(central ? 46 : 30));
  let at = 0;
  const put16 = (value) => { view.setUint16(at, value, true); at += 2; };
  const put32 = (value) => { view.setUint32(at, value, true); at += 4; };
  put32(signature);
  made.forEach(put16);
  [20, 0x0800, 0, 0, 0x21].forEach(put16); // version, UTF-8 names, stored, no time, 1 January 1980
  [crc, size, size].forEach(put32);
  put16(name.length);
  put16(0);
  if (central) {
    [0, 0, 0].forEach(put16);
    put32(0);
    put32(offset);
  }
  return new Uint8Array(view.buffer);
}
