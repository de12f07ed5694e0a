"""What the beat does about personal data. Safe to run twice."""

from __future__ import annotations

from celery import shared_task
from django.utils import timezone

from compliance.personal import erasing, retention


@shared_task
def keep_retention_periods() -> int:
    """Erase what is past its period, or ask a person; how many jobs were erased."""
    return retention.keep_retention_periods(timezone.localdate())


@shared_task
def remove_erased_bytes() -> int:
    """Remove files that an erasure left behind, such as while storage was down."""
    return erasing.remove_bytes()
