"""Keeping crews, vans and operatives: adding one, and edits that never overwrite silently."""

from __future__ import annotations

from typing import TypeVar

from jobs.errors import Refused, Stale, refusals_explained, refuse_invalid
from jobs.models import Crew, Operative, Role, Van

Kept = TypeVar("Kept", Crew, Van, Operative)


def keep(record: Kept, *, version: int | None = None) -> Kept:
    """Store a new crew, van or operative, or an edit of one that was read at `version`.

    Raises:
        Stale: somebody changed it since.
        Refused: a value cannot be, or belongs to another company (names the field).
        Conflict: the name is taken, or the crew has a lead already.
    """
    with refusals_explained():
        if record.pk is not None:
            model = type(record)
            stored = model.objects.select_for_update().values_list("version", flat=True)
            if version is not None and stored.get(pk=record.pk) != version:
                raise Stale(f"“{record}”")
            record.version = (version or record.version) + 1
        refuse_invalid(record)
        _check_belongings(record)
        record.save()
    return record


def _check_belongings(record: Crew | Van | Operative) -> None:
    """What a record points to is of its own company."""
    for field in ("crew", "van", "depot", "user"):
        other = getattr(record, field, None)
        if other is not None and other.company_id != record.company_id:
            raise Refused(f"There is no such {field}.", field=field, remedy="Choose one of yours.")
    if isinstance(record, Operative) and record.user is not None:
        if record.user.role != Role.INSTALLER and record.user.role != Role.SURVEYOR:
            raise Refused(
                f"{record.user} is not an installer or surveyor.",
                field="user",
                remedy="Choose the sign-in of somebody who goes on site.",
            )
        if Operative.objects.filter(user=record.user).exclude(pk=record.pk).exists():
            raise Refused(
                f"{record.user} is another operative already.",
                field="user",
                remedy="One sign-in belongs to one operative.",
            )
    if isinstance(record, Crew):
        _check_day(record)


def _check_day(crew: Crew) -> None:
    crew.clean_fields()  # times given as text become times
    if crew.day_ends_at <= crew.day_starts_at:
        raise Refused(
            "The day ends before it starts.",
            field="day_ends_at",
            remedy="Give an end later than the start.",
        )
    if crew.break_minutes and crew.break_latest < crew.break_earliest:
        raise Refused(
            "The break would have begun before it may.",
            field="break_latest",
            remedy="Give a time later than the earliest.",
        )
    if not crew.works_on:
        raise Refused(
            "The crew works on no day of the week.",
            field="works_on",
            remedy="Choose its days, or untick “Can be booked”.",
        )
    crew.works_on = sorted(set(crew.works_on))
    if (crew.base_latitude_deg is None) != (crew.base_longitude_deg is None):
        raise Refused(
            "Half a position is given.",
            field="base_longitude_deg",
            remedy="Give both latitude and longitude, or leave both empty.",
        )
