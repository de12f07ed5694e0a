"""Celery tasks of `jobs`. Each takes an id, loads, calls one domain function; safe to run twice."""

from __future__ import annotations

from celery import shared_task

from jobs.evidence import inspection
from jobs.intake import batches
from jobs.models import IntakeBatch, Photo


@shared_task
def look_through_intake_batch(batch_id: int) -> None:
    """Read a spreadsheet that was received and judge its rows."""
    batches.preview(IntakeBatch.objects.select_related("company", "scheme").get(pk=batch_id))


@shared_task
def take_in_intake_batch(batch_id: int) -> None:
    """Take in the good rows of a batch that was claimed for import."""
    batches.import_batch(
        IntakeBatch.objects.select_related("company", "scheme", "sent_by").get(pk=batch_id)
    )


@shared_task(autoretry_for=(OSError,), retry_backoff=5, max_retries=6)
def inspect_photo(photo_id: int) -> None:
    """Look at a photo that was stored: EXIF, small copies, what speaks against it."""
    inspection.inspect(Photo.objects.select_related("visit", "job__property").get(pk=photo_id))


@shared_task
def inspect_waiting_photos() -> None:
    """Send photos that no inspection followed, such as those stored while the broker was down."""
    for photo_id in inspection.waiting_photo_ids():
        inspect_photo.delay(photo_id)
