"""Housekeeping tasks that belong to no area of the product."""

from __future__ import annotations

from celery import shared_task
from django.core.management import call_command


@shared_task
def clear_expired_sessions() -> None:
    """Delete the rows of sessions that have run out."""
    call_command("clearsessions")
