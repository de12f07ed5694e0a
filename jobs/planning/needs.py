"""Keeping what is still to be planned in step with the jobs.

Every move of a job to another stage ends here (`jobs.planning.listeners`), as does the beat's
catch-up, which finds what came about otherwise: jobs taken in by the thousand, visits of before.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.db.models import Exists, OuterRef, Q, QuerySet

from jobs.models import Company, Job, Stage, Visit, VisitKind, VisitNeed
from jobs.planning.need_facts import (
    LEFT_WAITING_AT,
    WANTED_AT,
    JobFacts,
    Wanted,
    facts_of,
    wanted_need,
    wanted_needs,
)

State = VisitNeed.State
JOBS_AT_ONCE = 200
# A planner's own withdrawal, so that the need is not made again at this stage of the job.
BY_HAND = "state"
# What is worked out anew for a need that waits; of a booked one only what the crew must be told.
WORKED_OUT = (
    "part_hours",
    "crew_size",
    "skills",
    "volume_m3",
    "priority",
    "due_on",
    "preferred_crew_id",
)
WORKED_OUT_WHEN_BOOKED = ("skills", "volume_m3", "due_on")
# Lengths that differ by less are the same to a planner [h].
SAME_HOURS = 0.25
LIVE_VISITS = ("booked", "on_site", "done")


def keep_needs_in_step(job: Job) -> None:
    """Make, refresh and withdraw what a job needs, by its stage. Twice does no harm.

    Take the job's lock first.
    """
    keep_all_in_step([job])


@transaction.atomic
def keep_all_in_step(jobs: Sequence[Job]) -> None:
    """`keep_needs_in_step` of many jobs, in few queries. Take their locks first."""
    facts = facts_of(jobs)
    needs = _needs_of(jobs)
    unlinked = _visits_without_need(jobs)
    fresh: list[VisitNeed] = []
    changed: list[VisitNeed] = []
    for job in jobs:
        own = needs[job.pk]
        _adopt_visits(job, own, unlinked[job.pk])
        wanted = {want.kind: want for want in wanted_needs(job, facts)}
        fresh += _missing(job, own, wanted)
        changed += [need for need in own if _refresh(need, job, wanted, facts)]
    VisitNeed.objects.bulk_create(fresh)
    for need in changed:
        need.version += 1
    fields = [name.removesuffix("_id") for name in WORKED_OUT]
    VisitNeed.objects.bulk_update(changed, ["state", "version", *fields])
    _put_electrician_first(jobs, fresh, needs)


def catch_up_needs(company: Company | None = None, *, most: int = 2000) -> int:
    """Bring up to `most` jobs into step whose needs are not; how many there were."""
    ids = list(_out_of_step(company).order_by("pk").values_list("pk", flat=True)[:most])
    for start in range(0, len(ids), JOBS_AT_ONCE):
        with transaction.atomic():
            some = Job.objects.filter(pk__in=ids[start : start + JOBS_AT_ONCE])
            locked = some.order_by("pk").select_for_update(of=("self",)).with_place()
            keep_all_in_step(list(locked))
    return len(ids)


def need_for(job: Job, kind: str) -> VisitNeed | None:
    """What of a kind the job waits for or is booked for, if anything."""
    return job.visit_needs.live().filter(kind=kind).first()


@dataclass(frozen=True, slots=True)
class Place:
    """The need that a visit is booked for, and which part of it (from 1)."""

    need: VisitNeed
    part: int


def place_for_booking(job: Job, kind: str, hours: float) -> Place:
    """What a visit of `hours` [h] is booked for. Lock the job first.

    The first part that waits of the job's need; a further part of one that is booked already; a
    need made for it where nothing waits. A visit as long as all that is left ends the need.
    """
    need = need_for(job, kind)
    if need is None:
        values = _values(job, wanted_need(job, VisitKind(kind), facts_of([job])))
        values["part_hours"] = [hours]
        return Place(VisitNeed.objects.create(company_id=job.company_id, **values), 1)
    waiting = open_parts(need)
    if not waiting:
        need.part_hours = [*need.part_hours, hours]
        need.save(update_fields=["part_hours"])
        return Place(need, len(need.part_hours))
    left = sum(need.part_hours[part - 1] for part in waiting)
    the_rest = waiting == list(range(waiting[0], len(need.part_hours) + 1))
    if the_rest and len(waiting) > 1 and hours >= left - SAME_HOURS:
        need.part_hours = [*need.part_hours[: waiting[0] - 1], hours]
        need.save(update_fields=["part_hours"])
    return Place(need, waiting[0])


def open_parts(need: VisitNeed) -> list[int]:
    """Parts of a need, counted from 1, that no visit stands for."""
    taken = set(need.visits.filter(status__in=LIVE_VISITS).values_list("part", flat=True))
    return [part for part in range(1, len(need.part_hours) + 1) if part not in taken]


def follow_visits(need: VisitNeed) -> VisitNeed:
    """Set the state by the need's visits, after its parts were changed."""
    parts = len(need.part_hours)
    live = list(need.visits.filter(status__in=LIVE_VISITS).values_list("status", flat=True))
    done = live.count("done") >= parts
    state = State.DONE if done else State.BOOKED if len(live) >= parts else State.OPEN
    if need.state not in (state, State.WITHDRAWN):
        need.state = state
        need.save(update_fields=["state"])
    return need


# --- One job


def _needs_of(jobs: Iterable[Job]) -> dict[int, list[VisitNeed]]:
    """Live needs, and those withdrawn, newest first, by job id. One query."""
    found: dict[int, list[VisitNeed]] = defaultdict(list)
    states = (State.OPEN, State.BOOKED, State.WITHDRAWN)
    needs = VisitNeed.objects.filter(job__in=[job.pk for job in jobs], state__in=states)
    for need in needs.order_by("-pk").select_for_update(of=("self",)):
        found[need.job_id].append(need)
    return found


def _visits_without_need(jobs: Iterable[Job]) -> dict[int, list[Visit]]:
    found: dict[int, list[Visit]] = defaultdict(list)
    visits = Visit.objects.filter(job__in=[j.pk for j in jobs], need=None, status="booked")
    for visit in visits.order_by("during"):
        found[visit.job_id].append(visit)
    return found


def _adopt_visits(job: Job, own: list[VisitNeed], visits: list[Visit]) -> None:
    """Booked visits that nothing asked for get a need, so that cancelling one opens it."""
    for visit in visits:
        place = place_for_booking(job, visit.kind, _hours(visit))
        Visit.objects.filter(pk=visit.pk).update(need=place.need, part=place.part)
        place.need.refresh_from_db()
        own[:] = [place.need, *(need for need in own if need.pk != place.need.pk)]


def _hours(visit: Visit) -> float:
    return (visit.during.upper - visit.during.lower).total_seconds() / 3600


def _missing(job: Job, own: list[VisitNeed], wanted: dict[VisitKind, Wanted]) -> list[VisitNeed]:
    """Needs to be made; one withdrawn by itself before is opened again instead."""
    made = []
    for kind, want in wanted.items():
        of_kind = [need for need in own if need.kind == kind]
        if any(need.state != State.WITHDRAWN for need in of_kind):
            continue
        last = of_kind[0] if of_kind else None
        if last is not None and BY_HAND in last.set_by_hand:
            if last.created_at >= job.stage_since:
                continue
            last = None
        if last is not None:
            last.state = State.OPEN
            last.version += 1
            last.save(update_fields=["state", "version"])
        else:
            made.append(VisitNeed(company_id=job.company_id, **_values(job, want)))
    return made


def _values(job: Job, want: Wanted) -> dict[str, Any]:
    values: dict[str, Any] = {name: getattr(want, name) for name in WORKED_OUT}
    values |= {"part_hours": list(want.part_hours), "skills": list(want.skills)}
    return values | {"job": job, "kind": want.kind}


def _refresh(need: VisitNeed, job: Job, wanted: dict[VisitKind, Wanted], facts: JobFacts) -> bool:
    """Bring one live need up to date; True if anything changed."""
    if need.state == State.WITHDRAWN:
        return False
    want = wanted.get(VisitKind(need.kind))
    left = need.kind in LEFT_WAITING_AT.get(job.stage, ())
    if want is None and not left:
        if need.state == State.OPEN:
            need.state = State.WITHDRAWN
            return True
        return False
    want = want or wanted_need(job, VisitKind(need.kind), facts)
    names = WORKED_OUT if need.state == State.OPEN else WORKED_OUT_WHEN_BOOKED
    changed = False
    for name in names:
        if name.removesuffix("_id") in need.set_by_hand:
            continue
        value = getattr(want, name)
        value = list(value) if isinstance(value, tuple) else value
        if name == "part_hours" and need.visits.exists():
            continue  # some of its days are booked or over: their lengths stand
        if getattr(need, name) != value:
            setattr(need, name, value)
            changed = True
    return changed


def _put_electrician_first(
    jobs: Iterable[Job], fresh: list[VisitNeed], needs: dict[int, list[VisitNeed]]
) -> None:
    """A fitting waits for the electrical visit of its job, where there is one."""
    by_job: dict[int, dict[str, VisitNeed]] = defaultdict(dict)
    for need in [*fresh, *(need for own in needs.values() for need in own)]:
        if need.state in (State.OPEN, State.BOOKED):
            by_job[need.job_id][need.kind] = need
    for job in jobs:
        own = by_job[job.pk]
        electrical, fitting = own.get(VisitKind.ELECTRICAL), own.get(VisitKind.FITTING)
        if (
            electrical
            and fitting
            and fitting.after_id is None
            and "after" not in fitting.set_by_hand
        ):
            fitting.after = electrical
            fitting.save(update_fields=["after"])


# --- Finding jobs out of step


def _out_of_step(company: Company | None) -> QuerySet[Job]:
    """Jobs that lack a need of their stage, have one too many, or a visit without one."""
    needs = VisitNeed.objects.filter(job=OuterRef("pk"))
    found = Q(Exists(Visit.objects.filter(job=OuterRef("pk"), need=None, status="booked")))
    for stage, kinds in WANTED_AT.items():
        main = kinds[-1]
        known = needs.filter(Q(state__in=("open", "booked")) | Q(_by_hand_now()), kind=main)
        found |= Q(stage=stage) & ~Exists(known)
    for stage in Stage:
        kept = [*WANTED_AT.get(stage, ()), *LEFT_WAITING_AT.get(stage, ())]
        found |= Q(stage=stage) & Exists(needs.filter(state="open").exclude(kind__in=kept))
    jobs = Job.objects.filter(found)
    return jobs if company is None else jobs.filter(company=company)


def _by_hand_now() -> Q:
    return Q(state="withdrawn", set_by_hand__contains=[BY_HAND]) & Q(
        created_at__gte=OuterRef("stage_since")
    )
