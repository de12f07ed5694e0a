"""Who is away: crews and operatives, recorded, changed and ended by the planner."""

from __future__ import annotations

from datetime import datetime, time, timedelta

import pghistory
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.utils import timezone

from jobs.errors import Refused, Stale, refusals_explained, refuse_invalid
from jobs.models import Absence, Company, Crew, Operative, User, Visit


def record_absence(
    company: Company,
    *,
    by: User,
    starts_at: datetime,
    ends_at: datetime,
    crew: Crew | None = None,
    operative: Operative | None = None,
    reason: str = Absence.Reason.LEAVE,
    note: str = "",
) -> Absence:
    """Record that a crew, or one operative, cannot be sent from one moment to another.

    Visits booked in that time stay where they are until somebody plans anew; `visits_in_the_way`
    tells them.

    Raises:
        Refused: it ends before it starts, or names nobody or somebody of another company.
    """
    absence = Absence(
        company=company,
        crew=crew,
        operative=operative,
        during=away_during(starts_at, ends_at),
        reason=reason,
        note=note.strip(),
    )
    with pghistory.context(user=by.pk, what="absence recorded"), refusals_explained():
        _check(absence)
        absence.save()
    return absence


def change_absence(
    absence: Absence,
    *,
    by: User,
    version: int,
    starts_at: datetime | None = None,
    ends_at: datetime | None = None,
    reason: str | None = None,
    note: str | None = None,
) -> Absence:
    """Correct an absence that was read at `version`; what is not given stays.

    Raises:
        Stale: somebody changed it since. Refused: it ends before it starts.
    """
    with pghistory.context(user=by.pk, what="absence changed"), refusals_explained():
        absence = _locked(absence, version)
        absence.during = away_during(
            starts_at or absence.during.lower, ends_at or absence.during.upper
        )
        absence.reason = reason or absence.reason
        absence.note = absence.note if note is None else note.strip()
        absence.version += 1
        _check(absence)
        absence.save()
    return absence


def end_absence(absence: Absence, *, by: User, version: int) -> None:
    """Take an absence back; its history stays. Raises Stale."""
    with pghistory.context(user=by.pk, what="absence taken back"), refusals_explained():
        _locked(absence, version).delete()


def visits_in_the_way(absence: Absence) -> list[Visit]:
    """Visits booked for who is away then, in order of time."""
    visits = Visit.objects.filter(status=Visit.Status.BOOKED, during__overlap=absence.during)
    if absence.crew_id is not None:
        visits = visits.filter(crew=absence.crew_id)
    else:
        visits = visits.filter(visit_operatives__operative=absence.operative_id)
    return list(visits.with_job().order_by("during"))


def spell_absence(begins: datetime, ends: datetime) -> str:
    """From when until when, in words: whole days as days, such as “Thu 26 Nov to Thu 3 Dec”."""
    first, last = timezone.localtime(begins), timezone.localtime(ends)
    if _one_day(first, last):
        return f"{first:%a %-d %b %Y}, all day"
    if first.date() == last.date():
        return f"{first:%a %-d %b %Y}, {first:%H:%M}–{last:%H:%M}"
    return f"{_begins_words(first)} to {_ends_words(last)}"


def spell_end(ends: datetime) -> str:
    """The end of an absence: its last day where that is a whole one."""
    return _ends_words(timezone.localtime(ends))


def _one_day(first: datetime, last: datetime) -> bool:
    whole = first.time() == last.time() == time()
    return whole and (last.date() - first.date()).days == 1


def _begins_words(first: datetime) -> str:
    return f"{first:%a %-d %b}" if first.time() == time() else f"{first:%a %-d %b, %H:%M}"


def _ends_words(last: datetime) -> str:
    if last.time() == time():
        return f"{last.date() - timedelta(days=1):%a %-d %b %Y}"
    return f"{last:%a %-d %b %Y, %H:%M}"


def away_during(starts_at: datetime, ends_at: datetime) -> DateTimeTZRange:
    """From one moment to a later one. A time without a zone is by the clock of the country."""
    if timezone.is_naive(starts_at):
        starts_at = timezone.make_aware(starts_at)
    if timezone.is_naive(ends_at):
        ends_at = timezone.make_aware(ends_at)
    if ends_at <= starts_at:
        raise Refused(
            "The absence ends before it starts.",
            field="ends_at",
            remedy="Give an end later than the start.",
        )
    return DateTimeTZRange(starts_at, ends_at)


def _locked(absence: Absence, version: int) -> Absence:
    stored = Absence.objects.select_for_update(of=("self",)).filter(pk=absence.pk).first()
    if stored is None or stored.version != version:
        raise Stale("This absence")
    return stored


def _check(absence: Absence) -> None:
    """Who is away is of the company; the database holds that it is one of the two."""
    for field in ("crew", "operative"):
        who = getattr(absence, field)
        if who is not None and who.company_id != absence.company_id:
            raise Refused(f"There is no such {field}.", field=field, remedy="Choose one of yours.")
    refuse_invalid(absence)
