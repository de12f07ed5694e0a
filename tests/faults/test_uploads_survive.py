"""What a phone was told is stored, is stored: whatever is killed, whenever (invariant 6).

Web, worker and database are killed with SIGKILL at 100 moments while phones send; then every
acknowledged photo is compared byte for byte, none may be there twice, and every upload that was
under way must be gone on with from where it stood.
"""

from __future__ import annotations

import hashlib
import random
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from threading import Event

import psycopg
import pytest

from tests.faults.phones import Phone, Sent
from tests.faults.stack import DATABASE, WEB, WORKER, Stack, running_stack
from tests.pictures import loft_jpeg

pytestmark = pytest.mark.faults

SEED = 20_261_125
KILLS = 100
PHONES = 5
MEAN_PAUSE_S = 0.35
TARGETS = {**dict.fromkeys(WEB, 30), WORKER: 15, DATABASE: 25}
PATIENCE_S = 240.0


@pytest.fixture
def stack(tmp_path: Path) -> Iterator[Stack]:
    with running_stack(tmp_path) as stack:
        yield stack


def test_every_acknowledged_photo_is_there_once_whatever_was_killed(stack: Stack) -> None:
    finish = Event()
    picture = loft_jpeg(1)
    phones = [
        Phone(seeded, stack.port, SEED + number, picture, finish)
        for number, seeded in enumerate(stack.seed(PHONES))
    ]
    for phone in phones:
        phone.thread.start()

    killed = kill_at_random(stack, random.Random(SEED))
    under_way = [phone.photos[-1] for phone in phones if not phone.photos[-1].told]
    finish.set()
    for phone in phones:
        phone.thread.join(PATIENCE_S)

    assert [wrong for phone in phones for wrong in phone.wrong] == []
    assert not any(phone.thread.is_alive() for phone in phones), "a phone is still sending"
    photos = [photo for phone in phones for photo in phone.photos]
    compare(stack, photos)
    print(
        f"\nkilled {dict(killed)}; {len(photos)} photos, {sum(p.resumed for p in phones)} times "
        f"gone on with in the middle, {len(under_way)} under way at the end of the killing"
    )
    assert sum(killed.values()) == KILLS
    assert sum(phone.resumed for phone in phones) > 0
    assert all(photo.told for photo in under_way)


def kill_at_random(stack: Stack, chance: random.Random) -> Counter[str]:
    """Kill, wait a moment, start again: KILLS times."""
    killed: Counter[str] = Counter()
    for _ in range(KILLS):
        time.sleep(chance.expovariate(1 / MEAN_PAUSE_S))
        target = chance.choices(list(TARGETS), list(TARGETS.values()))[0]
        stack.kill(target)
        killed["web" if target in WEB else target] += 1
        time.sleep(chance.uniform(0, 0.1))
        stack.start_again(target)
    return killed


def compare(stack: Stack, photos: list[Sent]) -> None:
    """Raises AssertionError unless each photo's row and bytes are there, once."""
    media = stack.data.media
    with psycopg.connect(stack.environment["DATABASE_URL"]) as database:
        rows = database.execute(
            "SELECT id, visit_id, client_key, sha256, size_bytes, original_name FROM jobs_photo"
        ).fetchall()
        twice = database.execute(
            "SELECT photo_id FROM jobs_photoinspection GROUP BY photo_id, inspector_version "
            "HAVING count(*) > 1"
        ).fetchall()
        whole_without_photo = database.execute(
            "SELECT count(*) FROM jobs_upload "
            "WHERE offset_bytes = length_bytes AND photo_id IS NULL"
        ).fetchone()
    by_id = {row[0]: row for row in rows}
    assert len(rows) == len(photos), "a photo is stored twice, or not at all"
    for photo in photos:
        assert len(set(photo.told)) == 1, f"one photo was called {photo.told}"
        _, visit, key, sha256, size, name = by_id[photo.told[0]]
        assert (visit, key, sha256, size) == (
            photo.visit, photo.key, photo.sha256, len(photo.content),
        )  # fmt: skip
        kept = (media / name).read_bytes()
        assert kept == photo.content
        assert hashlib.sha256(kept).hexdigest() == sha256
    assert twice == []
    assert whole_without_photo == (0,)
