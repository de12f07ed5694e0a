"""Celery tasks of `jobs`. Each takes an id, loads, calls one domain function; safe to run twice."""

from __future__ import annotations

from celery import shared_task

from jobs.intake import batches
from jobs.models import IntakeBatch


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
