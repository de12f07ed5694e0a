"""Celery tasks of planning. Each takes an id, calls one domain function; safe to run twice."""

from __future__ import annotations

from celery import shared_task

from jobs.planning import needs


@shared_task
def catch_up_needs() -> int:
    """Make, refresh and withdraw what jobs need where that was not done as they moved on."""
    return needs.catch_up_needs()
