"""Accepting or discarding what a plan proposes, in whole or in part.

All lines that are accepted are written in one transaction. The exclusion constraints are deferred
meanwhile, so that two visits can change places; they are checked before anything is committed,
like every booking. A line that cannot be is refused with words, and the others are done without.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import pghistory
from django.db import connection, transaction
from django.utils import timezone

from jobs.errors import Conflict, Refused, refusals_explained
from jobs.models import Crew, Job, PlanRun, ProposedVisit, User, Van, Visit, VisitNeed
from jobs.planning.booking import (
    cancel_visit,
    check_stage,
    hold_crews,
    intended_move,
    put_new,
    put_visit,
)
from jobs.planning.booking_checks import objections
from jobs.planning.going_along import leave_behind_who_cannot
from jobs.planning.needs import Place
from jobs.planning.plan_leaves import moves
from jobs.planning.proposals import when_words

Change, Answer = ProposedVisit.Change, ProposedVisit.Answer
Line = ProposedVisit
EXCLUSIONS = ("crew_in_one_place", "van_in_one_place", "operative_in_one_place")


@dataclass(frozen=True, slots=True)
class Accepted:
    """What became of the lines: done, or refused with `answer_words`.

    A line that is done has words where somebody does not go along with its visit any more.
    """

    done: tuple[ProposedVisit, ...]
    refused: tuple[ProposedVisit, ...]


def accept(run: PlanRun, by: User, proposal_ids: Iterable[int] | None = None) -> Accepted:
    """Book what a run proposes: the lines with these ids, or all that are not answered.

    A line whose visit or need was changed since the plan was made is refused, as is one whose
    place is taken by a visit that stays; the rest is booked.

    Raises:
        Conflict: the run is not ready, or nothing of it is left to accept.
    """
    with pghistory.context(user=by.pk, what="plan accepted"), refusals_explained():
        run = _ready(run)
        lines = _chosen(run, proposal_ids)
        _lock_what_they_touch(lines)
        fresh = {line.pk: line for line in _chosen(run, [line.pk for line in lines])}
        lines = [fresh[line.pk] for line in lines]
        refused = {line.pk: words for line in lines if (words := _changed_since(line))}
        rest = [line for line in lines if line.pk not in refused]
        told: dict[int, str] = {}
        while rest:
            wrong, told = _try(rest, by)
            if not wrong:
                break
            refused |= wrong
            rest = [line for line in rest if line.pk not in wrong]
        _answer(rest, Answer.ACCEPTED, by, told)
        _answer([line for line in lines if line.pk in refused], Answer.REFUSED, by, refused)
        _end_if_answered(run)
    return Accepted(tuple(rest), tuple(line for line in lines if line.pk in refused))


def promised_among(run: PlanRun, ids: Iterable[int] | None = None) -> list[Line]:
    """Open lines, all or of these ids, that move or take off what a householder was told."""
    lines = run.proposals.with_place().changing().unanswered()
    if ids is not None:
        lines = lines.filter(pk__in=list(ids))
    return list(lines.breaking_promises().order_by("was_during", "pk"))


def discard(run: PlanRun, by: User, proposal_ids: Iterable[int] | None = None) -> int:
    """Set lines aside, or all that are not answered; how many. What is booked stays.

    Raises:
        Conflict: the run is not ready.
    """
    with transaction.atomic():
        run = _ready(run)
        lines = run.proposals.unanswered()
        if proposal_ids is not None:
            lines = lines.filter(pk__in=list(proposal_ids))
        count = lines.update(answer=Answer.DISCARDED, answered_at=timezone.now(), answered_by=by)
        _end_if_answered(run)
    return count


def _ready(run: PlanRun) -> PlanRun:
    run = PlanRun.objects.select_for_update(of=("self",)).get(pk=run.pk)
    if run.state != PlanRun.State.READY:
        raise Conflict(
            f"This plan is at “{run.get_state_display().lower()}”.",
            field="state",
            remedy="Only a plan that is ready can be answered.",
        )
    return run


def _chosen(run: PlanRun, ids: Iterable[int] | None) -> list[Line]:
    """The lines in the order in which they are written: by time."""
    lines = run.proposals.with_place().select_related("visit__need", "visit__van")
    lines = lines.changing().unanswered()
    if ids is not None:
        lines = lines.filter(pk__in=list(ids))
    found = list(lines.order_by("during", "pk"))
    if not found:
        raise Conflict("Nothing of this plan is left to accept.", field="proposals")
    return found


def _lock_what_they_touch(lines: Sequence[Line]) -> None:
    """Jobs, visits, needs, crews and vans, each in order of id, as every booking does."""
    job_ids = {(line.visit or line.need).job_id for line in lines}  # type: ignore[union-attr]
    list(Job.objects.order_by("pk").select_for_update(of=("self",)).filter(pk__in=job_ids))
    visits = {line.visit_id for line in lines if line.visit_id}
    list(Visit.objects.order_by("pk").select_for_update(of=("self",)).filter(pk__in=visits))
    needs = {line.need_id for line in lines if line.need_id}
    list(VisitNeed.objects.order_by("pk").select_for_update(of=("self",)).filter(pk__in=needs))
    crews = {line.crew_id for line in lines} | {line.was_crew_id for line in lines}
    vans = {line.van_id for line in lines} | {line.visit.van_id for line in lines if line.visit}
    hold_crews(Crew.objects.filter(pk__in=crews - {None}), Van.objects.filter(pk__in=vans - {None}))


# --- What changed since the plan was made


def _changed_since(line: Line) -> str:
    """What speaks against a line before it is tried, in words, or nothing."""
    visit, need = line.visit, line.need
    if line.during is not None and line.during.lower < timezone.now() and not _begun(line):
        return f"{when_words(line.during.lower)} has passed."
    if visit is not None and visit.version != line.visit_version:
        return _visit_changed(line, visit)
    if need is not None and need.version != line.need_version:
        return _need_changed(line, need)
    if line.crew is not None and not line.crew.is_active:
        return f"{line.crew} cannot be booked any more."
    return ""


def _begun(line: Line) -> bool:
    """A visit that only lasts longer is under way."""
    return line.was_during is not None and line.during.lower == line.was_during.lower


def _visit_changed(line: Line, visit: Visit) -> str:
    if visit.status not in (Visit.Status.BOOKED, Visit.Status.ON_SITE):
        return f"The visit is “{visit.get_status_display().lower()}” meanwhile."
    if visit.crew_id != line.was_crew_id or visit.during != line.was_during:
        return f"The visit was moved meanwhile to {visit.crew}, {when_words(visit.during.lower)}."
    return "The visit was changed meanwhile: held, told to the householder, or given a note."


def _need_changed(line: Line, need: VisitNeed) -> str:
    if need.state != VisitNeed.State.OPEN and line.visit is None:
        booked = need.visits.filter(status="booked", part=line.part).first()
        if booked is not None:
            return f"It was booked meanwhile for {booked.crew}, {when_words(booked.during.lower)}."
        return f"It is “{need.get_state_display().lower()}” meanwhile."
    return "What is needed was changed meanwhile (times agreed, hours, skills or crews)."


# --- Trying all together


class _Wrong(Exception):
    """Takes back a try; names the lines that cannot be, each with words."""

    def __init__(self, lines: dict[int, str]) -> None:
        super().__init__(f"{len(lines)} lines cannot be")
        self.lines = lines


def _try(lines: Sequence[Line], by: User) -> tuple[dict[int, str], dict[int, str]]:
    """Write all lines, or none and tell which cannot be; then who is left behind by which."""
    try:
        with transaction.atomic():
            return {}, _write_all(lines, by)
    except _Wrong as wrong:
        return wrong.lines, {}


def _write_all(lines: Sequence[Line], by: User) -> dict[int, str]:
    """Who does not go along any more, in words by line."""
    _check_exclusions("DEFERRED")
    wrong: dict[int, str] = {}
    visits: dict[int, Visit] = {}
    for line in _leaving_first(lines):
        try:
            with transaction.atomic():
                visits[line.pk] = _write(line, by)
        except Refused as refusal:
            wrong[line.pk] = str(refusal)
    told = _left_behind(lines, visits)
    wrong |= _objected(lines, visits)
    wrong |= _clashing({pk: v for pk, v in visits.items() if pk not in wrong}, lines)
    if wrong:
        raise _Wrong(wrong)
    _check_exclusions("IMMEDIATE")
    return told


def _left_behind(lines: Sequence[Line], visits: dict[int, Visit]) -> dict[int, str]:
    """Take off moved visits, once all are where they are to be, who cannot go along with them."""
    found = {}
    for line in lines:
        if line.pk in visits and moves(line):
            left = leave_behind_who_cannot(visits[line.pk])
            if left:
                found[line.pk] = " ".join(each.is_left for each in left)
    return found


def _check_exclusions(when: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"SET CONSTRAINTS {', '.join(EXCLUSIONS)} {when}")


def _leaving_first(lines: Sequence[Line]) -> list[Line]:
    return sorted(lines, key=lambda line: line.change != Change.TAKEN_OFF)


def _write(line: Line, by: User) -> Visit:
    """Carry out one line; whether it fits with all the others is looked at afterwards."""
    if line.change == Change.TAKEN_OFF:
        return cancel_visit(line.visit, f"Taken off by a plan. {line.why}"[:300], by)
    if line.visit is not None:
        return _write_move(line, line.visit)
    need = line.need
    job = Job.objects.with_place().get(pk=need.job_id)
    check_stage(job, need.kind)
    return put_new(job, need.kind, line.crew, line.van, line.during, Place(need, line.part), by=by)


def _write_move(line: Line, visit: Visit) -> Visit:
    if visit.held and line.crew_id != visit.crew_id:
        raise Refused("The visit is held where it is.", field="held")
    before, visit.crew, visit.van = visit.crew_id, line.crew, line.van
    put_visit(visit, line.during, before)
    return visit


def _objected(lines: Sequence[Line], visits: dict[int, Visit]) -> dict[int, str]:
    """What speaks against each visit once all are where they are to be."""
    found: dict[int, str] = {}
    for line in lines:
        visit = visits.get(line.pk)
        if visit is None or line.change == Change.TAKEN_OFF or _begun(line):
            continue
        for objection in objections(intended_move(visit, visit.during)):
            found[line.pk] = str(objection)
            break
    return found


CLASHES = """
    SELECT v.id, o.id FROM jobs_visit v
    JOIN jobs_visit o ON o.id <> v.id AND o.company_id = v.company_id AND o.during && v.during
        AND o.status <> 'cancelled' AND (o.crew_id = v.crew_id OR o.van_id = v.van_id)
    WHERE v.id = ANY(%(ids)s) AND v.status <> 'cancelled'
    UNION
    SELECT v.visit_id, o.visit_id FROM jobs_visitoperative v
    JOIN jobs_visitoperative o ON o.visit_id <> v.visit_id AND o.operative_id = v.operative_id
        AND o.during && v.during AND o.live
    WHERE v.visit_id = ANY(%(ids)s) AND v.live
"""


def _clashing(visits: dict[int, Visit], lines: Sequence[Line]) -> dict[int, str]:
    """Lines whose place is taken by a visit that is not of this plan, or by an earlier line."""
    line_of = {visit.pk: pk for pk, visit in visits.items()}
    with connection.cursor() as cursor:
        cursor.execute(CLASHES, {"ids": list(line_of)})
        pairs = cursor.fetchall()
    found: dict[int, str] = {}
    order = {line.pk: number for number, line in enumerate(lines)}
    for mine, other in sorted(pairs):
        line, earlier = line_of[mine], line_of.get(other)
        if earlier is not None and order[earlier] > order[line]:
            continue  # the later of two lines gives way
        if earlier is None or earlier not in found:
            taken = Visit.objects.with_job().get(pk=other)
            found[line] = (
                f"{taken.crew} is at {taken.job.property.address_line_1} then, "
                f"{when_words(taken.during.lower)}–"
                f"{timezone.localtime(taken.during.upper):%H:%M}."
            )
    return found


# --- Answers


def _answer(
    lines: Sequence[Line], answer: Answer, by: User, words: dict[int, str] | None = None
) -> None:
    for line in lines:
        line.answer, line.answered_at, line.answered_by = answer, timezone.now(), by
        line.answer_words = (words or {}).get(line.pk, "")[:400]
    fields = ["answer", "answered_at", "answered_by", "answer_words"]
    ProposedVisit.objects.bulk_update(lines, fields)


def _end_if_answered(run: PlanRun) -> None:
    if not run.proposals.changing().unanswered().exists():
        run.state = PlanRun.State.ANSWERED
        run.save(update_fields=["state"])
