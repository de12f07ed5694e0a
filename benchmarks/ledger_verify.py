"""How fast a pack of the whole ledger is verified, against bare SHA-256 passes over its bytes.

    python -m benchmarks.ledger_verify [entries]

Writes a pack of invented facts (a million by default; kinds and lengths as in the demo: 14
readings, 4 photos and their inspections, an assessment and a certificate a job, and the edits of
the job and of two visits, with those rows as they are now) into a temporary folder, without files
of photos and certificates, and checks it with the very code of `python -m compliance.verify`.
Times are processor time, since the machine may be shared.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import resource
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from compliance.ledger.tree import MemoryTree, consistency_path
from compliance.verify import FolderSource, layout, verify_pack
from compliance.verify.entries import whole_tree_faults
from compliance.verify.roots import leaf_hashes
from compliance.verify.seals import read_seals
from compliance.verify.sources import PackFiles

MADE_AT = "2026-11-25T12:00:00Z"
SEALS = 20
CHUNK = 1 << 20


def fact_lines(entries: int) -> Iterator[bytes]:
    """Payloads as PostgreSQL writes them, job after job."""
    ids: Counter[str] = Counter()
    written = 1
    yield _line(layout.RULE_EVENTS, _event(ids, layout.RULE_EVENTS, 1, {"min_depth_mm": 270}))
    for job in range(1, entries):
        for kind, fact in _facts_of(job, ids):
            if written == entries:
                return
            yield _line(kind, fact)
            written += 1


def _line(kind: str, fact: dict[str, object]) -> bytes:
    return json.dumps({"fact": fact, "kind": kind}).encode() + b"\n"


def _event(ids: Counter[str], kind: str, row: int, columns: dict[str, object]) -> dict[str, object]:
    return {
        "id": _next(ids, kind),
        "by": 3,
        "context": f"sha256:{row:064x}",
        "row_id": row,
        "pgh_label": "update",
        "pgh_obj_id": row,
        "pgh_created_at": "2026-10-07T11:25:55+00:00",
        "version": ids[kind],
        **columns,
    }


def _edits_of(job: int, ids: Counter[str]) -> Iterator[tuple[str, dict[str, object]]]:
    """As a job goes through its stages, and its survey and fitting visit are booked and done."""
    for stage in ("to_survey", "to_quantify", "to_plan", "booked", "to_assess", "certified"):
        columns: dict[str, object] = {"stage": stage, "property_id": job, "due_on": "2026-12-01"}
        yield "jobs_jobevent", _event(ids, "jobs_jobevent", job, columns)
    for visit in (2 * job, 2 * job + 1):
        for status in ("booked", "on_site", "done"):
            columns = {
                "kind": "fitting",
                "note": f"sha256:{0:064x}",
                "job_id": job,
                "status": status,
                "crew_id": 4,
                "during": '["2026-10-07 08:00:00+00","2026-10-07 12:30:00+00")',
            }
            yield "jobs_visitevent", _event(ids, "jobs_visitevent", visit, columns)


def _facts_of(job: int, ids: Counter[str]) -> Iterator[tuple[str, dict[str, object]]]:
    times = {"measured_at": "2026-10-07T11:25:35+00:00", "received_at": "2026-10-07T11:25:55+00:00"}
    for n in range(14):
        yield (
            layout.READING,
            {
                "id": _next(ids, layout.READING),
                "x_mm": 5342 + n,
                "y_mm": 4809 - n,
                "area_id": job,
                "depth_mm": 270 + n,
                "visit_id": job,
                "allowance": "",
                "client_key": "0ae37568-8354-41ee-b359-e525827803ca",
                **times,
                "replaces_id": None,
                "measured_by_id": 3,
                "correction_reason": "",
            },
        )
    for n in range(4):
        photo = _next(ids, layout.PHOTO)
        sha256 = f"{photo:064x}"
        yield (
            layout.PHOTO,
            {
                "id": photo,
                "note": "",
                "job_id": job,
                "moment": "after" if n % 2 else "before",
                "sha256": sha256,
                "visit_id": job,
                "client_key": "4da78f2e-5abe-4049-a08d-4996e739a9a1",
                "media_type": "image/jpeg",
                "size_bytes": 131_872,
                "sent_by_id": 3,
                "point_label": f"P{n + 1}",
                "replaces_id": None,
                "received_at": times["received_at"],
                "original_name": f"photos/{sha256[:2]}/{sha256}",
                "phone_taken_at": None,
            },
        )
        yield (
            "jobs_photoinspection",
            {
                "id": photo,
                "device": "an invented phone",
                "photo_id": photo,
                "readable": True,
                "warnings": [],
                "width_px": 1600,
                "height_px": 1200,
                "thumb_name": f"thumbs/{sha256[:2]}/{sha256}",
                "display_name": f"displays/{sha256[:2]}/{sha256}",
                "inspected_at": times["received_at"],
                "exif_taken_at": times["measured_at"],
                "perceptual_hash": -1234567890123456789,
                "exif_latitude_deg": 52.63,
                "inspector_version": "3",
                "exif_longitude_deg": -1.13,
            },
        )
    yield (
        layout.ASSESSMENT,
        {
            "id": _next(ids, layout.ASSESSMENT),
            "inputs": f"sha256:{job:064x}",
            "job_id": job,
            "number": 1,
            "made_at": times["received_at"],
            "missing": [],
            "rule_id": 1,
            "verdict": "meets",
            "arithmetic": f"sha256:{job:064x}",
            "inputs_sha256": f"{job:064x}",
        },
    )
    yield (
        layout.CERTIFICATE,
        {
            "id": _next(ids, layout.CERTIFICATE),
            "code": f"C{job}",
            "job_id": job,
            "contents": f"sha256:{job:064x}",
            "pdf_sha256": f"{job:064x}",
            "assessment_id": ids[layout.ASSESSMENT],
        },
    )
    yield from _edits_of(job, ids)


def _next(ids: Counter[str], kind: str) -> int:
    ids[kind] += 1
    return ids[kind]


def write_pack(folder: Path, entries: int) -> bytes:
    """A sound pack of scope `whole`; returns the public key."""
    key = Ed25519PrivateKey.generate()
    public = key.public_key().public_bytes(
        serialization.Encoding.Raw, serialization.PublicFormat.Raw
    )
    content = b"".join(fact_lines(entries))
    lines = content.split(b"\n")[:-1]
    tree = MemoryTree(leaf_hashes(lines))
    present = _present(lines)
    sizes = [entries * n // SEALS for n in range(1, SEALS + 1)]
    hashed = {layout.ASSESSMENT: ["inputs", "arithmetic"], layout.CERTIFICATE: ["contents"]}
    said = {
        "version": layout.PACK_VERSION,
        "scope": layout.SCOPE_WHOLE,
        "counts": Counter(json.loads(line)["kind"] for line in lines),
        "hashed": hashed,
        "withheld": [f"{kind}.{column}" for kind, names in hashed.items() for column in names],
        "left_out": ["photos", "certificates"],
    }
    files = {
        layout.ENTRIES: content,
        layout.ROWS: content,
        layout.PRESENT: present,
        layout.CONTENTS: b"",
        layout.SEALS: b"".join(_seal(tree, size, n, key, public) for n, size in enumerate(sizes)),
        layout.CONSISTENCY: b"".join(
            _json({"first": a, "second": b, "path": [h.hex() for h in _path(tree, a, b)]})
            for a, b in zip(sizes, sizes[1:], strict=False)
        ),
        layout.PACK: _json(said),
        layout.DERIVED: b"",
    }
    files[layout.CHAIN] = b"".join(_in_chain(line) for line in files[layout.SEALS].splitlines())
    _write_bag(folder, files, key, public)
    return public


def _present(lines: list[bytes]) -> bytes:
    """The rows that were edited, in the form of their last events."""
    last: dict[tuple[str, int], bytes] = {}
    for line in lines:
        if b'"row_id"' in line:
            values = json.loads(line)
            last[values["kind"], values["fact"]["row_id"]] = line
    return b"".join(last[key] + b"\n" for key in sorted(last))


def _path(tree: MemoryTree, first: int, second: int) -> list[bytes]:
    return consistency_path(first, second, tree.lookup)


def _seal(tree: MemoryTree, size: int, n: int, key: Ed25519PrivateKey, public: bytes) -> bytes:
    root = tree.root(size).hex()
    text = layout.seal_text(size, root, MADE_AT)
    return _json(
        {
            "id": n + 1,
            "tree_size": size,
            "root_hash": root,
            "made_at": MADE_AT,
            "signed_text": text,
            "signature": key.sign(text.encode()).hex(),
            "public_key": public.hex(),
        }
    )


def _in_chain(seal: bytes) -> bytes:
    values = json.loads(seal)
    told = {name: values[name] for name in ("tree_size", "root_hash", "made_at")}
    return _json({"number": None} | told)


def _json(values: object) -> bytes:
    return json.dumps(values).encode() + b"\n"


def _write_bag(
    folder: Path, files: dict[str, bytes], key: Ed25519PrivateKey, public: bytes
) -> None:
    oxum = f"Payload-Oxum: {sum(map(len, files.values()))}.{len(files)}\n"
    tags = {
        layout.BAGIT: layout.BAGIT_TEXT.encode(),
        layout.BAG_INFO: oxum.encode(),
        layout.README: b"Invented facts, made to measure the verifier.\n",
        layout.MANIFEST: _manifest(files),
    }
    tag_manifest = _manifest(tags)
    text = layout.signature_text(hashlib.sha256(tag_manifest).hexdigest(), MADE_AT)
    signed = layout.signed_file(text, public.hex(), key.sign(text.encode()).hex())
    for name, content in {
        **files,
        **tags,
        layout.TAG_MANIFEST: tag_manifest,
        layout.SIGNATURE: signed.encode(),
    }.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)


def _manifest(files: dict[str, bytes]) -> bytes:
    return b"".join(
        f"{hashlib.sha256(content).hexdigest()}  {name}\n".encode()
        for name, content in files.items()
    )


def bare_pass(*paths: Path) -> None:
    """One SHA-256 over the bytes of each file."""
    for path in paths:
        digest = hashlib.sha256()
        with path.open("rb") as file:
            while chunk := file.read(CHUNK):
                digest.update(chunk)
        digest.hexdigest()


def measured(what: str, act: Callable[[], object], against: float = 0.0) -> float:
    busy, clock = time.process_time(), time.perf_counter()
    act()
    seconds, by_clock = time.process_time() - busy, time.perf_counter() - clock
    ratio = f"  {seconds / against:6.1f} x" if against else ""
    print(f"{what:<58}{seconds:8.2f} s of processor {by_clock:8.2f} s by the clock{ratio}")
    return seconds


def main(entries: int) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        public = write_pack(folder, entries)
        ledger, rows = folder / layout.ENTRIES, folder / layout.ROWS
        print(
            f"{entries:,} entries, {ledger.stat().st_size / 1e6:.0f} MB of payloads, "
            f"load average {os.getloadavg()[0]:.1f}"
        )
        bare_pass(ledger, rows)  # into the page cache
        one = measured("bare SHA-256 over the entries", lambda: bare_pass(ledger))
        measured("entries under their Seals: every leaf, node and root", lambda: _tree(folder), one)
        both = measured("bare SHA-256 over entries and rows", lambda: bare_pass(ledger, rows))
        measured(
            "the whole verifier: entries, rows, edits, references, bag",
            lambda: _verify(folder, public),
            both,
        )
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(f"peak of the process {peak:.0f} MB, of which the invented pack was the most")


def _tree(folder: Path) -> None:
    files = PackFiles(FolderSource(folder))
    faults = list(whole_tree_faults(read_seals(files), files))
    assert faults == [], faults


def _verify(folder: Path, public: bytes) -> None:
    report = verify_pack(FolderSource(folder), [public])
    assert report.sound, report


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("entries", type=int, nargs="?", default=1_000_000)
    main(parser.parse_args().entries)
