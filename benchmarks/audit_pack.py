"""How fast the pack of a large audit round is made, against a bare copy + SHA-256 of its files.

    python -m benchmarks.audit_pack [jobs] [photos a job]

Makes a database and a store of its own beside those of DATABASE_URL: one certified job by the
functions of the product, and the others copied from it row by row, so that every fact enters
the ledger by its trigger. Photos are random bytes, which no zip makes smaller: six in ten of
20 kB, a third of 120 kB, one in twenty of 1 MB; certificates are the true PDF under names of
their own. Every job is drawn. Three processes of their own are measured: the bare copy of all
files into one file with SHA-256, the pack written as a zip, and the offline check of it.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import random
import re
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import django

from benchmarks.own_database import own_database

NAME = "eavesbook_audit_pack"
SIZES = {20_000: 0.60, 120_000: 0.35, 1_000_000: 0.05}
CHUNK = 1 << 18
BATCH = 500


def make_round(jobs: int, photos: int, store: Path) -> int:
    """The world of the benchmark; returns the number of its round."""
    from benchmarks.audit_pack_world import copies_of, drawn_whole
    from tests.compliance.pack_scene import stored_photo
    from tests.compliance.scene import certified_scene

    scene, certificate = certified_scene(photo=stored_photo)
    random.seed(1)
    for start in range(1, jobs, BATCH):
        copies_of(scene, certificate, start, min(BATCH, jobs - start), photos, _keep_in(store))
    return drawn_whole(scene.job.scheme)


def _keep_in(store: Path) -> Any:
    def keep(folder: str, content: bytes, name: str = "") -> tuple[str, str]:
        digest = hashlib.sha256(content).hexdigest()
        name = f"{folder}/{digest[:2]}/{name or digest}"
        path = store / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        return name, digest

    return keep


def photo_bytes() -> bytes:
    (size,) = random.choices(list(SIZES), list(SIZES.values()))
    return os.urandom(size)


def bare_copy(store: Path, target: Path) -> int:
    """Every kept file read once, hashed, and written behind the others."""
    copied = 0
    with target.open("wb") as out:
        for path in (path for path in store.rglob("*") if path.is_file()):
            digest = hashlib.sha256()
            with path.open("rb") as file:
                while chunk := file.read(CHUNK):
                    digest.update(chunk)
                    out.write(chunk)
                    copied += len(chunk)
            digest.hexdigest()
    return copied


def write_pack(number: int, target: Path) -> int:
    from compliance.audits.pack import round_scope
    from compliance.models import AuditRound
    from compliance.packs.export import zip_chunks

    record = AuditRound.objects.select_related("auditor", "scheme", "seal").get(pk=number)
    written = 0
    with target.open("wb") as out:
        for chunk in zip_chunks(round_scope(record, record.auditor)):
            out.write(chunk)
            written += len(chunk)
    return written


def verify(target: Path, key: str) -> int:
    from compliance.verify import ZipSource, verify_pack

    report = verify_pack(ZipSource(target), [bytes.fromhex(key)])
    assert report.sound, report
    return target.stat().st_size


def peak_kb() -> int:
    """This program's own peak; `getrusage` also counts what was there before its start."""
    status = Path("/proc/self/status").read_text()
    return int(re.search(r"VmHWM:\s*(\d+) kB", status)[1])  # type: ignore[index]


def measure_here(what: str, *arguments: str) -> None:
    """One act in this very process, told as JSON."""
    acts = {"copy": bare_copy, "pack": write_pack, "check": verify}
    start, busy = time.perf_counter(), time.process_time()
    if what == "pack":
        django.setup()
        done = acts[what](int(arguments[0]), Path(arguments[1]))
    elif what == "copy":
        done = acts[what](Path(arguments[0]), Path(arguments[1]))
    else:
        done = acts[what](Path(arguments[0]), arguments[1])
    print(
        json.dumps(
            {
                "bytes": done,
                "clock": time.perf_counter() - start,
                "busy": time.process_time() - busy,
                "peak_mb": peak_kb() / 1024,
            }
        )
    )


def measured(label: str, *arguments: str) -> dict[str, Any]:
    command = [sys.executable, "-m", "benchmarks.audit_pack", "--measure", *arguments]
    found = subprocess.run(command, capture_output=True, text=True, check=False)
    if found.returncode:
        sys.exit(found.stderr)
    said: dict[str, Any] = json.loads(found.stdout.splitlines()[-1])
    rate, each = said["bytes"] / said["clock"] / 1e6, said["bytes"] / said["busy"] / 1e6
    print(
        f"{label:<34}{said['clock']:8.1f} s by the clock {rate:7.1f} MB/s, "
        f"{said['busy']:8.1f} s of processor {each:7.1f} MB/s, peak {said['peak_mb']:6.0f} MB",
        flush=True,
    )
    return said


def main(jobs: int, photos: int) -> None:
    with own_database(NAME) as folder:
        measure_all(jobs, photos, folder / "media-main", folder)


def measure_all(jobs: int, photos: int, store: Path, out: Path) -> None:
    from django.db import connection

    from compliance.ledger.seals import public_bytes, seal_key
    from compliance.models import LedgerEntry

    start = time.perf_counter()
    number = make_round(jobs, photos, store)
    took, entries = time.perf_counter() - start, LedgerEntry.objects.count()
    connection.close()
    print(
        f"{jobs:,} jobs, {photos} photos each, {entries:,} entries, built in {took:.0f} s; "
        f"load average {os.getloadavg()[0]:.1f}",
        flush=True,
    )
    key = public_bytes(seal_key().public_key()).hex()
    zipped = str(out / "pack.zip")
    for _ in range(2):  # the first fills the page cache
        bare = measured("bare copy + SHA-256", "copy", str(store), str(out / "copy"))
    (out / "copy").unlink()
    pack = measured("pack, as a zip", "pack", str(number), zipped)
    measured("offline check", "check", zipped, key)
    print(
        f"{bare['bytes'] / 1e9:.2f} GB of files, a pack of {pack['bytes'] / 1e9:.2f} GB; it takes "
        f"{pack['clock'] / bare['clock']:.1f} times the clock of the bare copy and "
        f"{pack['busy'] / bare['busy']:.1f} times its processor time (the database's apart)"
    )


if __name__ == "__main__":
    if sys.argv[1:2] == ["--measure"]:
        measure_here(*sys.argv[2:])
    else:
        parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
        parser.add_argument("jobs", type=int, nargs="?", default=10_000)
        parser.add_argument("photos", type=int, nargs="?", default=4)
        asked = parser.parse_args()
        main(asked.jobs, asked.photos)
