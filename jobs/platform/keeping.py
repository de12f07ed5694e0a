"""Storing a record of the platform: never over somebody else's edit, never under a taken name."""

from __future__ import annotations

from typing import TypeVar

from jobs.errors import Conflict, Stale, refuse_invalid
from jobs.models import Company, Scheme, User

Kept = TypeVar("Kept", Company, Scheme, User)


def lock_at(record: Kept, version: int | None) -> Kept:
    """The record as stored now, locked until the transaction ends.

    Raises:
        Stale: it was read at `version` and has been changed since.
    """
    stored = type(record)._default_manager.select_for_update(of=("self",)).get(pk=record.pk)
    if version is not None and stored.version != version:
        raise Stale(f"“{stored}”")
    return stored


def store_edit(record: Kept) -> Kept:
    """Check and save a locked record, counting the edit."""
    refuse_invalid(record)
    record.version += 1
    record.save()
    return record


def refuse_taken(record: Kept, field: str, what: str, remedy: str) -> None:
    """Raise Conflict if another record has this value, in whatever case it is written."""
    same = {f"{field}__iexact": getattr(record, field)}
    if type(record)._default_manager.filter(**same).exclude(pk=record.pk).exists():
        raise Conflict(f"{what} already.", field=field, remedy=remedy)
