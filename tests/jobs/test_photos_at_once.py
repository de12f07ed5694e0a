"""The same photo arriving twice at the same moment, as a phone on a bad line sends it."""

from __future__ import annotations

import io
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from uuid import UUID, uuid4

import pytest
from django.db import connection

from jobs.evidence.photos import store_photo
from jobs.models import Photo
from tests.jobs.on_site_scene import booked_scene
from tests.pictures import loft_jpeg

AT_ONCE = 4


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("same_key", [True, False], ids=["one key", "a key each"])
def test_identical_uploads_at_once_become_one_photo(same_key, monkeypatch):
    monkeypatch.setattr("jobs.evidence.photos._enqueue_inspection", lambda photo_id: None)
    scene, content, key = booked_scene(), loft_jpeg(41), uuid4()
    together = Barrier(AT_ONCE)

    def send(client_key: UUID) -> tuple[int, bool]:
        try:
            together.wait(timeout=30)
            photo, created = store_photo(
                scene.visit, "before", "P1", io.BytesIO(content), scene.installer, client_key
            )
            return photo.pk, created
        finally:
            connection.close()

    with ThreadPoolExecutor(AT_ONCE) as pool:
        keys = [key if same_key else uuid4() for _ in range(AT_ONCE)]
        answers = list(pool.map(send, keys))

    assert len({pk for pk, _ in answers}) == 1
    assert [created for _, created in answers].count(True) == 1
    assert Photo.objects.count() == 1
