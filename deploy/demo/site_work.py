"""The demo's visits as they went: arrivals, steps of the laying, variations, one stop, leaving."""

from __future__ import annotations

import random
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime, time, timedelta

from deploy.demo.courses import at
from deploy.demo.evidence import VisitPapers
from deploy.demo.people import Cast
from deploy.demo.stock import Entry
from jobs.evidence.questions import QUESTIONS
from jobs.evidence.stopping import whom_to_call
from jobs.evidence.work_points import points_of
from jobs.models import (
    Arrival,
    Leave,
    Operative,
    PreStartCheck,
    StopNotice,
    StopWork,
    Variation,
    Visit,
    WorkStep,
)

STEPS = tuple(WorkStep.Kind.values)
VARIED_EVERY = 9
VARIATIONS = (
    ("not_reached", "left_out", "The last bay behind the chimney can’t be reached on boards."),
    ("deck_found", "less_depth", "Boards beneath old carpet that the survey did not see."),
    ("other_roll", "same_depth", "One roll of another thickness was on the van; laid double."),
    ("obstacle_found", "same_depth", "A disused pipe lies across two bays; cut round it."),
)
LET_IN = ("the householder", "a neighbour with the key", "the householder’s daughter")


def make_site_work(cast: Cast, papers: Sequence[VisitPapers], chance: random.Random) -> None:
    """The records of visits beside their evidence. An unfinished visit has its first steps."""
    crews = _crews(cast)
    Arrival.objects.bulk_create(_arrival(cast, crews, paper, chance) for paper in papers)
    WorkStep.objects.bulk_create(step for paper in papers for step in _steps(cast, paper))
    varied = [paper for paper in papers if paper.entry.number % VARIED_EVERY == 0]
    Variation.objects.bulk_create(_variation(cast, paper) for paper in varied)
    Leave.objects.bulk_create(_leave(cast, paper) for paper in papers if paper.handed_over)


def _crews(cast: Cast) -> dict[str, list[int]]:
    found: dict[str, list[int]] = {}
    for operative in Operative.objects.filter(company=cast.company).select_related("crew"):
        if operative.crew is not None:
            found.setdefault(operative.crew.name, []).append(operative.pk)
    return found


def _arrival(
    cast: Cast, crews: dict[str, list[int]], paper: VisitPapers, chance: random.Random
) -> Arrival:
    return Arrival(
        visit=paper.visit,
        operative_ids=crews[paper.entry.crew],
        let_in_by=chance.choice(LET_IN),
        loft_ready=True,
        arrived_at=paper.starts + timedelta(minutes=2) + paper.ahead,
        recorded_by=cast.lead_of(paper.entry.crew),
        **paper.clock(paper.starts + timedelta(minutes=3)),
    )


def _steps(cast: Cast, paper: VisitPapers) -> Iterator[WorkStep]:
    """Spread between the before and the after photos; the first two while work goes on."""
    done = STEPS if paper.visit.status == "done" else STEPS[:2]
    begins = paper.starts + timedelta(minutes=25)
    share = (paper.ends - timedelta(minutes=30) - begins) / len(STEPS)
    for nth, step in enumerate(done, start=1):
        when = begins + share * nth
        yield WorkStep(
            visit=paper.visit,
            step=step,
            outcome="done",
            answers={point.code: "yes" for point in points_of(step)},
            done_at=when + paper.ahead,
            recorded_by=cast.lead_of(paper.entry.crew),
            **paper.clock(when + timedelta(seconds=30)),
        )


def _variation(cast: Cast, paper: VisitPapers) -> Variation:
    kind, meaning, reason = VARIATIONS[paper.entry.number // VARIED_EVERY % len(VARIATIONS)]
    when = paper.starts + timedelta(minutes=40)
    areas = list((paper.entry.areas or {}).values())
    return Variation(
        visit=paper.visit,
        kind=kind,
        meaning=meaning,
        reason=reason,
        area=areas[0] if areas else None,
        found_at=when + paper.ahead,
        recorded_by=cast.lead_of(paper.entry.crew),
        **paper.clock(when + timedelta(minutes=1)),
    )


def _leave(cast: Cast, paper: VisitPapers) -> Leave:
    return Leave(
        visit=paper.visit,
        because=Leave.Because.HANDED_OVER,
        loft_closed=True,
        site_clear=True,
        left_at=paper.ends - timedelta(minutes=1) + paper.ahead,
        recorded_by=cast.lead_of(paper.entry.crew),
        **paper.clock(paper.ends),
    )


def stop_one(cast: Cast, entries: Iterable[Entry], now: datetime) -> None:
    """One fitting was stopped early yesterday for bats; the job waits to be planned anew."""
    waiting = (
        e for e in entries if e.has_layer_plan and e.fitting is None and not e.course.called_off
    )
    entry = next(waiting, None)
    if entry is None:
        return
    begins = at(now.date() - timedelta(days=1), time(6, 30))
    crew, lead = cast.crews[entry.crew], cast.lead_of(entry.crew)
    reason = "Bats or birds. Droppings and a roost at the ridge, seen from the hatch."
    visit = Visit.objects.create(
        company=cast.company,
        job=entry.job,
        kind=Visit.Kind.FITTING,
        status=Visit.Status.STOPPED,
        crew=crew,
        during=(begins, begins + timedelta(minutes=40)),
        stop_reason=reason,
        booked_by=cast.people["planner"],
        arrived_at=begins,
        left_at=begins + timedelta(minutes=20),
    )
    paper = VisitPapers(entry, visit, short=False)
    stopped = begins + timedelta(minutes=20)
    safe = {q.code: "no" if q.unsafe == "yes" else "yes" for q in QUESTIONS}
    PreStartCheck.objects.create(
        visit=visit,
        answers={**safe, "bats_or_birds": "yes"},
        safe_to_start=False,
        checked_by=lead,
        checked_at=stopped + paper.ahead,
        **paper.clock(stopped),
    )
    stop = StopWork.objects.create(
        visit=visit,
        found=["bats_or_birds"],
        reason=reason,
        to_call=whom_to_call(["bats_or_birds"]),
        stopped_at=stopped + paper.ahead,
        recorded_by=lead,
        **paper.clock(stopped),
    )
    StopNotice.objects.create(stop=stop, told=[cast.people["planner"].email], told_at=stopped)
