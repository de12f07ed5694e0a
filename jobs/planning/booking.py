"""Booking, moving and cancelling visits.

Who may be booked when is held by the database (exclusion constraints over crew, van and
operative); its refusal reaches the planner as a sentence.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pghistory
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.utils import timezone

from jobs.announce import visit_changed
from jobs.errors import Conflict, Refused, Stale, refusals_explained
from jobs.models import LAYING_KINDS, Crew, Job, Stage, User, Van, Visit, VisitOperative
from jobs.planning.booking_checks import (
    Intended,
    operatives_there,
    refuse_leaving_followers,
    refuse_objections,
)
from jobs.planning.calendars import away_between
from jobs.planning.going_along import coming_back, left_behind, refuse_leaving_behind, take_off
from jobs.planning.need_facts import SKILLS, USUAL_HOURS
from jobs.planning.needs import Place, need_for, open_parts, place_for_booking
from jobs.stages import call_off, lock_job, move_job

Kind, Status = Visit.Kind, Visit.Status

SKILL_NEEDED = SKILLS
# From which stages a visit of a kind can be booked, and what to do where it cannot.
BOOKABLE: dict[str, tuple[frozenset[Stage], str]] = {
    Kind.SURVEY: (
        frozenset({Stage.TO_SURVEY, Stage.TO_QUANTIFY, Stage.TO_PLAN}),
        "A survey comes before the fitting.",
    ),
    Kind.ELECTRICAL: (
        frozenset({Stage.TO_QUANTIFY, Stage.TO_PLAN, Stage.BOOKED}),
        "An electrical visit comes between the survey and the fitting.",
    ),
    Kind.FITTING: (
        frozenset({Stage.TO_PLAN, Stage.BOOKED, Stage.ON_SITE}),
        "A fitting visit needs a finished survey and its layer plan; open the job to make them.",
    ),
    Kind.CALL_BACK: (
        frozenset({Stage.SHORT, Stage.TO_ASSESS}),
        "A call-back puts right a job that came out short or unproven.",
    ),
}
LONGEST_HOURS = 14.0
SHORTEST_HOURS = 0.25


def book_visit(
    job: Job,
    kind: str,
    crew: Crew,
    van: Van | None,
    starts_at: datetime,
    hours: float,
    by: User,
    note: str = "",
    *,
    place: Place | None = None,
) -> Visit:
    """Book a crew, with a van if it takes one, on a job from `starts_at` for `hours` [h].

    The crew's operatives are put on the visit. A fitting or call-back moves the job to
    `booked`; a job that is booked or on site already keeps its stage (a further day's work).
    `place`: which need, and part of it, the visit is for; by itself the one that waits.

    Raises:
        Refused: an input cannot be (names the field), such as a crew without the skill.
        Conflict: the crew, van or an operative is elsewhere then, or the stage is wrong.
    """
    during = span(starts_at, hours)
    with _told(by, "visit booked"), refusals_explained():
        job = lock_job(job.pk)
        check_stage(job, kind)
        hold_crews([crew], [van])
        place = place or place_for_booking(job, kind, hours)
        refuse_objections(Intended(job, kind, crew, van, during, place.need))
        visit = put_new(job, kind, crew, van, during, place, by=by, note=note)
    return visit


def put_new(
    job: Job,
    kind: str,
    crew: Crew,
    van: Van | None,
    during: DateTimeTZRange,
    place: Place,
    *,
    by: User,
    note: str = "",
) -> Visit:
    """Store a new visit that was found to be possible, with its operatives; the job moves on.

    Hold the locks of job, crew and van.
    """
    visit = Visit.objects.create(
        company_id=job.company_id,
        job=job,
        need=place.need,
        part=place.part,
        kind=kind,
        crew=crew,
        van=van,
        during=during,
        note=note.strip(),
        booked_by=by,
    )
    _put_operatives_on(visit)
    if kind in LAYING_KINDS and job.stage != Stage.ON_SITE:
        move_job(job, Stage.BOOKED)
    visit_changed.send(Visit, visit=visit)
    return visit


def move_visit(
    visit: Visit,
    *,
    by: User,
    version: int,
    starts_at: datetime | None = None,
    hours: float | None = None,
    crew: Crew | None = None,
    van: Van | None | str = "same",
    note: str | None = None,
    may_leave_behind: Collection[int] = (),
    bring_back: Collection[int] = (),
) -> Visit:
    """Move a booked visit to another time, crew or van; what is not given stays.

    `version` is the one the mover saw. `van=None` sends the crew without one. Who goes along from
    another crew stays with it if they are free then; `may_leave_behind`: ids of those of whom the
    mover knows that they are not. `bring_back`: ids of those whom a move left behind; who of them
    is free goes along again.

    Raises:
        LeftBehind: somebody goes along who could not, and was not named.
        Stale: somebody changed the visit since.
        Refused: an input cannot be, or the visit has begun or was cancelled.
        Conflict: the crew, van or an operative is elsewhere then.
    """
    with _told(by, "visit moved"), refusals_explained():
        visit = lock_visit(visit.pk)
        if visit.version != version:
            raise Stale("This visit")
        _check_booked(visit, "moved")
        before = visit.crew_id
        start = starts_at or visit.during.lower
        lasts = hours if hours is not None else hours_of(visit)
        visit.crew = crew or visit.crew
        visit.van = visit.van if isinstance(van, str) else van
        visit.note = visit.note if note is None else note.strip()
        hold_crews([visit.crew], [visit.van])
        during = span(start, lasts)
        back, _ = coming_back(visit, visit.crew, during, bring_back)
        refuse_objections(replace(intended_move(visit, during), joining=back))
        left = left_behind(visit, visit.crew, during)
        refuse_leaving_behind(left, may_leave_behind)
        take_off(visit, left)
        put_visit(visit, during, before)
        VisitOperative.objects.bulk_create(VisitOperative(visit=visit, operative=p) for p in back)
    return visit


def intended_move(visit: Visit, during: DateTimeTZRange) -> Intended:
    """A visit, with its crew and van as they are to be, at another time."""
    return Intended(visit.job, visit.kind, visit.crew, visit.van, during, visit.need, visit=visit)


def put_visit(visit: Visit, during: DateTimeTZRange, crew_before: int) -> None:
    """Store a visit whose crew, van or time was changed; its crew's operatives go with it.

    So does who goes along from another crew. Told to the householder is a time: when it changes,
    it has to be told again. Hold the locks of job, visit, crew and van.
    """
    if during.lower != visit.during.lower:
        visit.promised_at = None
    visit.during = during
    visit.version += 1
    if visit.crew_id != crew_before:
        visit.visit_operatives.filter(operative__crew=crew_before).delete()
    visit.save(update_fields=["crew", "van", "during", "note", "promised_at", "version"])
    _put_operatives_on(visit)
    visit_changed.send(Visit, visit=visit)


def cancel_visit(visit: Visit, reason: str, by: User) -> Visit:
    """Cancel a booked visit; crew, van and operatives are free again at once.

    A job left without a visit goes back to where it stood before it was booked.

    Raises:
        Refused: no reason, or the visit has begun or was cancelled already.
    """
    if not reason.strip():
        raise Refused(
            "Say why the visit is cancelled.", field="reason", remedy="A few words are enough."
        )
    with _told(by, "visit cancelled"), refusals_explained():
        visit = lock_visit(visit.pk)
        _check_booked(visit, "cancelled")
        if visit.job.stage != Stage.CALLED_OFF:
            refuse_leaving_followers(visit)
        visit.status = Status.CANCELLED
        visit.stop_reason = reason.strip()
        visit.version += 1
        visit.save(update_fields=["status", "stop_reason", "version"])
        _stand_back(lock_job(visit.job_id))
        visit_changed.send(Visit, visit=visit)
    return visit


def call_off_job(job: Job, reason: str, by: User) -> Job:
    """Call a job off and cancel the visits booked for it, all or nothing.

    Raises:
        Refused: no reason is given.
        Conflict: the job is certified or called off already.
    """
    with _told(by, "job called off"), refusals_explained():
        called_off = call_off(lock_job(job.pk), reason)
        for visit in job.visits.filter(status=Status.BOOKED):
            cancel_visit(visit, f"Job called off: {reason.strip()}"[:300], by)
    return called_off


def lock_visit(visit_id: int) -> Visit:
    """The visit with its job, both locked until the transaction ends: first the job."""
    job_id = Visit.objects.values_list("job_id", flat=True).get(pk=visit_id)
    lock_job(job_id)
    return (
        Visit.objects.select_for_update(of=("self",))
        .with_job()
        .select_related("need")
        .get(pk=visit_id)
    )


def refuse_past(starts_at: datetime) -> None:
    """For pages and API: what has passed is not booked (history is made by other callers)."""
    if starts_at < timezone.now():
        raise Refused(
            f"{timezone.localtime(starts_at):%a %-d %b %Y %H:%M} has passed.",
            field="starts_at",
            remedy="Choose a later day or time.",
        )


def span(starts_at: datetime, hours: float) -> DateTimeTZRange:
    """From arrival to leaving, for `hours` [h] between a quarter and 14."""
    if timezone.is_naive(starts_at):
        starts_at = timezone.make_aware(starts_at)
    if not SHORTEST_HOURS <= hours <= LONGEST_HOURS:
        raise Refused(
            f"A visit of {hours:g} h cannot be.",
            field="hours",
            remedy=f"Give {SHORTEST_HOURS:g} to {LONGEST_HOURS:g} h; book a further day for more.",
        )
    return DateTimeTZRange(starts_at, starts_at + timedelta(hours=hours))


def hours_of(visit: Visit) -> float:
    """How long a visit is booked for [h]."""
    return (visit.during.upper - visit.during.lower).total_seconds() / 3600


def check_stage(job: Job, kind: str) -> None:
    stages, remedy = BOOKABLE[kind]
    if job.stage not in stages:
        raise Conflict(
            f"{job.reference} is at “{Stage(job.stage).label}”: "
            f"a {Kind(kind).label.lower()} cannot be booked.",
            field="kind",
            remedy=remedy,
        )


def kinds_bookable(job: Job) -> list[Visit.Kind]:
    """The kinds of visit the job's stage allows, the likeliest first."""
    order = (Kind.CALL_BACK, Kind.FITTING, Kind.SURVEY, Kind.ELECTRICAL)
    return [kind for kind in order if job.stage in BOOKABLE[kind][0]]


def proposed_hours(job: Job, kind: str) -> float:
    """How long to book for [h], to the quarter hour: the first part that waits of the job's need.

    Without one the usual hours, which are common practice without a published source; for a
    fitting the layer plan's crew-hours.
    """
    need = need_for(job, kind)
    if need is not None and (waiting := open_parts(need)):
        return need.part_hours[waiting[0] - 1]
    plan = job.layer_plans.first()
    hours = plan.crew_hours if plan and kind == Kind.FITTING else USUAL_HOURS[kind]
    return min(max(round(hours * 4) / 4, SHORTEST_HOURS), LONGEST_HOURS)


def hold_crews(crews: Iterable[Crew], vans: Iterable[Van | None]) -> None:
    """Take turns with whoever books the same crews or vans at this moment.

    The exclusion constraints alone are safe, but two inserts that wait for each other would end
    in a deadlock, which no planner can read.
    """
    crew_ids = {crew.pk for crew in crews}
    van_ids = {van.pk for van in vans if van is not None}
    list(Crew.objects.order_by("pk").select_for_update(no_key=True).filter(pk__in=crew_ids))
    if van_ids:
        list(Van.objects.order_by("pk").select_for_update(no_key=True).filter(pk__in=van_ids))


def _check_booked(visit: Visit, verb: str) -> None:
    if visit.status != Status.BOOKED:
        raise Refused(
            f"This visit is at “{visit.get_status_display()}” and cannot be {verb}.",
            field="status",
            remedy="Book another visit if more has to be done.",
        )


def _put_operatives_on(visit: Visit) -> None:
    """Who of the crew is there then; who of it was on the visit and is away stays off."""
    away = away_between(visit.company_id, visit.during.lower, visit.during.upper)
    there = {person.pk for person in operatives_there(visit.crew, away)}
    on_it = dict(visit.visit_operatives.values_list("operative_id", "operative__crew_id"))
    gone = {pk for pk, crew_id in on_it.items() if crew_id == visit.crew_id} - there
    if gone:
        visit.visit_operatives.filter(operative__in=gone).delete()
    VisitOperative.objects.bulk_create(
        VisitOperative(visit=visit, operative_id=operative_id)
        for operative_id in sorted(there - on_it.keys())
    )


def _stand_back(job: Job) -> None:
    """Take a booked job with no work visit left back to the stage it was booked from."""
    work_left = job.visits.filter(
        kind__in=(Kind.FITTING, Kind.CALL_BACK), status__in=(Status.BOOKED, Status.ON_SITE)
    )
    if job.stage == Stage.BOOKED and not work_left.exists():
        move_job(job, _stage_before_booking(job))


def _stage_before_booking(job: Job) -> Stage:
    events: Any = job.events  # type: ignore[attr-defined]
    stages = events.exclude(stage=Stage.BOOKED).order_by("-pgh_id").values_list("stage", flat=True)
    last = stages.first()
    return Stage(last) if last in (Stage.SHORT, Stage.TO_ASSESS) else Stage.TO_PLAN


@contextmanager
def _told(by: User, what: str) -> Iterator[None]:
    with pghistory.context(user=by.pk, what=what):
        yield
