"""Taking away uploads that nobody went on with."""

from __future__ import annotations

import contextlib

from django.utils import timezone

from jobs.models import Upload
from jobs.uploads.pieces import remove_pieces, upload_ids_with_pieces
from jobs.uploads.protocol import Busy
from jobs.uploads.receiving import drop_upload

MOST_AT_ONCE = 2000


def clear_expired_uploads() -> int:
    """Drop expired uploads, and bytes that belong to none; return how many uploads went."""
    gone = 0
    for upload in Upload.objects.expired(timezone.now())[:MOST_AT_ONCE]:
        with contextlib.suppress(Busy):
            drop_upload(upload)
            gone += 1
    _remove_ownerless()
    return gone


def _remove_ownerless() -> None:
    """Bytes left by a process that died between a row's end and theirs."""
    lying = upload_ids_with_pieces()
    wanted = {str(pk) for pk in Upload.objects.filter(photo=None).values_list("pk", flat=True)}
    for upload_id in lying:
        if upload_id not in wanted:
            remove_pieces(upload_id)
