"""Every photo that a phone was told of, compared with what is stored."""

from __future__ import annotations

import hashlib

import psycopg

from tests.faults.phones import Sent
from tests.faults.stack import Stack


def compare_photos(stack: Stack, photos: list[Sent]) -> None:
    """Raises AssertionError unless each photo's row and bytes are there, once."""
    visits = sorted({photo.visit for photo in photos})
    with psycopg.connect(stack.environment["DATABASE_URL"]) as database:
        rows = database.execute(
            "SELECT id, visit_id, client_key, sha256, size_bytes, original_name FROM jobs_photo "
            "WHERE visit_id = ANY(%s)",
            [visits],
        ).fetchall()
        twice = database.execute(
            "SELECT photo_id FROM jobs_photoinspection GROUP BY photo_id, inspector_version "
            "HAVING count(*) > 1"
        ).fetchall()
        whole_without_photo = database.execute(
            "SELECT count(*) FROM jobs_upload "
            "WHERE offset_bytes = length_bytes AND photo_id IS NULL AND visit_id = ANY(%s)",
            [visits],
        ).fetchone()
    by_id = {row[0]: row for row in rows}
    for photo in photos:
        assert len(set(photo.told)) == 1, f"one photo was called {photo.told}"
        assert photo.told[0] in by_id, f"photo {photo.told[0]} was acknowledged and is lost"
        _, visit, key, sha256, size, name = by_id[photo.told[0]]
        assert (visit, key, sha256, size) == (
            photo.visit, photo.key, photo.sha256, len(photo.content),
        ), f"photo {photo.told[0]} is another"  # fmt: skip
        path = stack.data.media / name
        assert path.exists(), f"photo {photo.told[0]} has a row and no file"
        kept = path.read_bytes()
        assert kept == photo.content, f"photo {photo.told[0]} has other bytes"
        assert hashlib.sha256(kept).hexdigest() == sha256, "another SHA-256"
    assert len(rows) == len(photos), "a photo is stored twice, or not at all"
    assert not twice, f"photos {twice} were inspected twice"
    assert whole_without_photo == (0,), "an upload is whole and no photo"
