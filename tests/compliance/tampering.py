"""Ways to tamper with a pack: each takes its files and a seeded chance, and gives changed files.

A change is made by one of three hands. `clumsy` changes what it changes. `thorough` also makes
the manifests and counts agree again. `insider` holds the signing key and signs the pack again.
"""

from __future__ import annotations

import hashlib
import json
import random
from collections import Counter
from collections.abc import Callable
from typing import Any

from compliance.ledger.seals import public_bytes, seal_key
from compliance.packs.manifest import Manifest
from compliance.verify import layout
from tests.compliance.pack_scene import Files

Change = Callable[[random.Random, Files], None]
MADE_AT = "2026-11-25T12:00:00Z"


def flip_bit(chance: random.Random, content: bytes) -> bytes:
    changed = bytearray(content)
    changed[chance.randrange(len(changed))] ^= 1 << chance.randrange(8)
    return bytes(changed)


def lines_of(files: Files, name: str) -> list[bytes]:
    return files[name].splitlines(keepends=True)


def other_value(chance: random.Random, value: Any) -> Any:
    """Another value of the same type."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, int | float):
        return value + chance.choice([-1, 1, 7])
    if isinstance(value, str):
        at = chance.randrange(len(value) + 1)
        return value[:at] + chance.choice("0123456789abcdef") + value[at:]
    if isinstance(value, list):
        return [*value, "another"]
    if isinstance(value, dict):
        return {**value, "another": True}
    return 1 if value is None else None


# --- Changes of one thing


def photo_bit(chance: random.Random, files: Files) -> None:
    name = chance.choice(sorted(n for n in files if n.startswith(layout.PHOTOS)))
    files[name] = flip_bit(chance, files[name])


def certificate_bit(chance: random.Random, files: Files) -> None:
    name = chance.choice(sorted(n for n in files if n.startswith(layout.CERTIFICATES)))
    files[name] = flip_bit(chance, files[name])


def row_value(chance: random.Random, files: Files) -> None:
    """One column of one row, as a superuser leaves it."""
    lines = lines_of(files, layout.ROWS)
    at = chance.randrange(len(lines))
    lines[at] = changed_line(chance, lines[at])
    files[layout.ROWS] = b"".join(lines)


def entry_value(chance: random.Random, files: Files) -> None:
    """The same column in the ledger's entry and in its row, so that they agree."""
    entries, rows = lines_of(files, layout.ENTRIES), lines_of(files, layout.ROWS)
    at = chance.randrange(len(entries))
    entries[at] = rows[at] = changed_line(chance, entries[at])
    files[layout.ENTRIES], files[layout.ROWS] = b"".join(entries), b"".join(rows)


def changed_line(chance: random.Random, line: bytes) -> bytes:
    values = json.loads(line)
    column = chance.choice(sorted(values["fact"]))
    values["fact"][column] = other_value(chance, values["fact"][column])
    return json.dumps(values).encode() + b"\n"


def swapped_readings(chance: random.Random, files: Files) -> None:
    """Two readings change places: each row is shown with the other's depth."""
    lines = lines_of(files, layout.ROWS)
    readings = [n for n, line in enumerate(lines) if b'"jobs_depthreading"' in line]
    while True:
        one, two = chance.sample(readings, 2)
        first, second = json.loads(lines[one]), json.loads(lines[two])
        depths = first["fact"]["depth_mm"], second["fact"]["depth_mm"]
        if depths[0] != depths[1]:
            break
    second["fact"]["depth_mm"], first["fact"]["depth_mm"] = depths
    lines[one], lines[two] = (json.dumps(row).encode() + b"\n" for row in (first, second))
    files[layout.ROWS] = b"".join(lines)


def row_dropped(chance: random.Random, files: Files) -> None:
    lines = lines_of(files, layout.ROWS)
    lines.pop(chance.randrange(len(lines)))
    files[layout.ROWS] = b"".join(lines)


def entry_dropped(chance: random.Random, files: Files) -> None:
    """An entry with all that goes with it: its row, its proof, its contents, its file."""
    at = chance.randrange(len(lines_of(files, layout.ENTRIES)))
    dropped = json.loads(lines_of(files, layout.ENTRIES)[at])
    kind, fact = dropped["kind"], dropped["fact"]
    for name in (layout.ENTRIES, layout.ROWS, layout.PROOFS):
        if name in files:
            lines = lines_of(files, name)
            lines.pop(at)
            files[name] = b"".join(lines)
    files[layout.CONTENTS] = b"".join(
        line
        for line in lines_of(files, layout.CONTENTS)
        if (json.loads(line)["kind"], json.loads(line)["id"]) != (kind, fact["id"])
    )
    files.pop(f"{layout.PHOTOS}{fact.get('sha256')}", None)
    files.pop(f"{layout.CERTIFICATES}{fact.get('code')}.pdf", None)


def entry_forged(chance: random.Random, files: Files) -> None:
    """An entry that never was: a copy of another with an id of its own, proof and all."""
    entries = lines_of(files, layout.ENTRIES)
    at = chance.randrange(len(entries))
    values = json.loads(entries[at])
    values["fact"]["id"] += 1_000_000
    forged = json.dumps(values).encode() + b"\n"
    for name in (layout.ENTRIES, layout.ROWS):
        files[name] = b"".join(
            [*lines_of(files, name)[: at + 1], forged, *lines_of(files, name)[at + 1 :]]
        )
    if layout.PROOFS in files:
        lines = lines_of(files, layout.PROOFS)
        files[layout.PROOFS] = b"".join([*lines[: at + 1], lines[at], *lines[at + 1 :]])


def ledger_reordered(chance: random.Random, files: Files) -> None:
    """Two entries change places, each with its row; where there are proofs, with or without."""
    one, two = chance.sample(range(len(lines_of(files, layout.ENTRIES))), 2)
    names = [layout.ENTRIES, layout.ROWS]
    if layout.PROOFS in files and chance.random() < 0.5:
        names.append(layout.PROOFS)
    for name in names:
        lines = lines_of(files, name)
        lines[one], lines[two] = lines[two], lines[one]
        files[name] = b"".join(lines)


def seal_changed(chance: random.Random, files: Files) -> None:
    """A field of a Seal; sometimes its signed text in step, sometimes signed by another key."""
    lines = lines_of(files, layout.SEALS)
    at = chance.randrange(len(lines))
    seal = json.loads(lines[at])
    field = chance.choice(["tree_size", "root_hash", "made_at", "signature", "public_key"])
    old = str(seal[field])
    if field == "tree_size":
        seal[field] += chance.choice([-1, 1])
    else:
        place = chance.randrange(len(old))
        digit = chance.choice([d for d in "0123456789" if d != old[place]])
        seal[field] = old[:place] + digit + old[place + 1 :]
    if chance.random() < 0.5:
        seal["signed_text"] = layout.seal_text(
            seal["tree_size"], seal["root_hash"], seal["made_at"]
        )
    lines[at] = json.dumps(seal).encode() + b"\n"
    files[layout.SEALS] = b"".join(lines)


def chain_changed(chance: random.Random, files: Files) -> None:
    """What is told of a Seal in the chain, or its line gone."""
    lines = lines_of(files, layout.CHAIN)
    at = chance.randrange(len(lines))
    values = json.loads(lines[at])
    field = chance.choice([*values, "its line"])
    if field == "its line":
        lines.pop(at)
    else:
        values[field] = other_value(chance, values[field])
        lines[at] = json.dumps(values).encode() + b"\n"
    files[layout.CHAIN] = b"".join(lines)


def copy_changed(chance: random.Random, files: Files) -> None:
    """When an operative is on a visit, whether it takes place, or the whole line."""
    lines = lines_of(files, layout.DERIVED)
    at = chance.choice([n for n, one in enumerate(lines) if layout.OPERATIVE.encode() in one])
    values = json.loads(lines[at])
    field = chance.choice(["id", "during", "live", "its line"])
    if field == "its line":
        lines.pop(at)
    else:
        values[field] = other_value(chance, values[field])
        lines[at] = json.dumps(values).encode() + b"\n"
    files[layout.DERIVED] = b"".join(lines)


def proof_forged(chance: random.Random, files: Files) -> None:
    """A path of inclusion or consistency: a digit, a hash too few or too many, or its place."""
    name = chance.choice([n for n in (layout.PROOFS, layout.CONSISTENCY) if n in files])
    lines = lines_of(files, name)
    at = chance.randrange(len(lines))
    proof = json.loads(lines[at])
    path, way = proof["path"], chance.choice(["digit", "fewer", "more", "place"])
    if way == "digit" and path:
        n = chance.randrange(len(path))
        path[n] = flip_bit(chance, bytes.fromhex(path[n])).hex()
    elif way == "fewer" and path:
        path.pop(chance.randrange(len(path)))
    elif way == "place":
        field = "position" if "position" in proof else chance.choice(["first", "second"])
        proof[field] += chance.choice([-1, 1, 1000])
    else:
        path.insert(chance.randrange(len(path) + 1), chance.randbytes(32).hex())
    lines[at] = json.dumps(proof).encode() + b"\n"
    files[name] = b"".join(lines)


def contents_changed(chance: random.Random, files: Files) -> None:
    """A character of what was hashed: inputs, arithmetic, a name, a signature, or its salt."""
    lines = lines_of(files, layout.CONTENTS)
    at = chance.randrange(len(lines))
    values = json.loads(lines[at])
    field = "salt" if values["salt"] and chance.random() < 0.3 else "text"
    values[field] = other_value(chance, values[field])
    lines[at] = json.dumps(values).encode() + b"\n"
    files[layout.CONTENTS] = b"".join(lines)


def payload_truncated(chance: random.Random, files: Files) -> None:
    """Any file under data/ cut off, half of the time at the end of a line."""
    name = chance.choice(sorted(n for n in files if n.startswith("data/") and files[n]))
    content = files[name]
    length = chance.randrange(len(content))
    if chance.random() < 0.5:
        length = content.rfind(b"\n", 0, length) + 1
    files[name] = content[:length]


def payload_missing(chance: random.Random, files: Files) -> None:
    del files[chance.choice(sorted(n for n in files if n.startswith("data/")))]


def file_added(chance: random.Random, files: Files) -> None:
    folder = chance.choice(["data/", layout.PHOTOS, layout.CERTIFICATES, ""])
    files[f"{folder}{chance.randbytes(8).hex()}"] = chance.randbytes(20)


def any_bit(chance: random.Random, files: Files) -> None:
    name = chance.choice(sorted(n for n in files if files[n]))
    files[name] = flip_bit(chance, files[name])


def anything_truncated(chance: random.Random, files: Files) -> None:
    name = chance.choice(sorted(n for n in files if files[n]))
    files[name] = files[name][: chance.randrange(len(files[name]))]


def anything_missing(chance: random.Random, files: Files) -> None:
    del files[chance.choice(sorted(files))]


def said_otherwise(chance: random.Random, files: Files) -> None:
    """pack.json says that something was withheld, left out, or of another number."""
    said = json.loads(files[layout.PACK])
    field = chance.choice(["withheld", "left_out", "counts", "scope", "title", "hashed", "jobs"])
    said[field] = "jobs" if field == "scope" and said["scope"] == "whole" else said[field]
    if field == "counts":
        kind = chance.choice(sorted(said["counts"]))
        said["counts"][kind] += 1
    else:
        said[field] = other_value(chance, said[field])
    files[layout.PACK] = json.dumps(said).encode()


# --- Hands


def clumsy(files: Files) -> None:
    """Leaves everything else as it was."""


def thorough(files: Files) -> None:
    """Counts, manifests and Payload-Oxum agree with the change; the signature cannot."""
    if layout.ENTRIES in files and layout.PACK in files:
        _count_again(files)
    payload = {n: b for n, b in files.items() if n.startswith("data/")}
    oxum = f"Payload-Oxum: {sum(map(len, payload.values()))}.{len(payload)}\n"
    kept = [x for x in lines_of(files, layout.BAG_INFO) if not x.startswith(b"Payload-Oxum")]
    files[layout.BAG_INFO] = b"".join([*kept, oxum.encode()])
    files[layout.MANIFEST] = _manifest(payload)
    beside = (layout.BAGIT, layout.BAG_INFO, layout.README, layout.MANIFEST)
    tags = {name: files[name] for name in beside if name in files}
    files[layout.TAG_MANIFEST] = _manifest(tags)


def insider(files: Files) -> None:
    """Like `thorough`, and signs the pack again with the true key."""
    thorough(files)
    digest = hashlib.sha256(files[layout.TAG_MANIFEST]).hexdigest()
    text = layout.signature_text(digest, MADE_AT)
    key = seal_key()
    files[layout.SIGNATURE] = layout.signed_file(
        text, public_bytes(key.public_key()).hex(), key.sign(text.encode()).hex()
    ).encode()


def _count_again(files: Files) -> None:
    try:
        said = json.loads(files[layout.PACK])
        kinds = Counter(json.loads(line)["kind"] for line in lines_of(files, layout.ENTRIES))
    except (ValueError, KeyError, TypeError):
        return
    said["counts"] = dict(kinds)
    files[layout.PACK] = json.dumps(said).encode()


def _manifest(files: Files) -> bytes:
    listed = Manifest()
    for name, content in files.items():
        listed.add(name, hashlib.sha256(content).hexdigest(), len(content))
    return b"".join(listed.chunks())
