"""Announcing that somebody opens evidence. Who keeps the log listens."""

from __future__ import annotations

from collections.abc import Iterable

from django.core.cache import cache

from jobs.announce import evidence_opened
from jobs.models import Job, User

ONE_LOOK_S = 600
"""Small pictures of a job that one person loads within so long are one look at them."""


def opened(job_ids: Iterable[int], person: User, what: str) -> None:
    """Say that `person` opens `what` of these jobs."""
    ids = sorted(set(job_ids))
    if ids:
        evidence_opened.send(Job, job_ids=ids, person=person, what=what)


def glanced_at(job_id: int, person: User, what: str) -> None:
    """`opened`, once for many small pieces that make one page."""
    if cache.add(f"glanced:{person.pk}:{job_id}:{what.replace(' ', '-')}", True, ONE_LOOK_S):
        opened([job_id], person, what)
