"""What the planner's process does with a run: gather, search, tell how far it is, propose.

The best plan so far is written to the run's row as it is found, at most once a second; with it
goes the sign of life. Proposals are written once, in the transaction that makes the run `ready`:
a process that dies at any moment leaves none, or all.
"""

from __future__ import annotations

import logging
import os
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from jobs.errors import Refused
from jobs.models import PlanRun, ProposedVisit
from jobs.planning.gather import Gathered, gather
from jobs.planning.kept_plans import plan_from_json, plan_to_json
from jobs.planning.objective import late_as_booked
from jobs.planning.plan import MovingCost, Objective, Plan, Unplanned
from jobs.planning.plan_errors import PlanProblemError
from jobs.planning.present_plan import present_plan
from jobs.planning.prices import weights_of_run
from jobs.planning.proposals import propose
from jobs.planning.pulse import Pulse
from jobs.planning.runs import claim_run
from jobs.planning.solving.reasons import cost_of_moving, explain_unplanned
from jobs.planning.solving.solve import solve_plan
from jobs.planning.solving.stopping import AfterSeconds, AnyOf, WhenAsked
from jobs.planning.waiting import Waiting
from jobs.planning.wishes import Wishes, wished

log = logging.getLogger(__name__)

State = PlanRun.State
BEAT_S = 1.0
MOST_POINTS_OF_CURVE = 120
# How long reasons of what stayed out, and prices of moving the rest, may be worked out after the
# search [s]; what is left then goes without.
EXPLAINING_S = 15.0
PRICING_S = 15.0
WENT_ON_ALONE = (
    "Not all processes that were to look for this plan at the same time could; the others went on."
)


class Lost(Exception):
    """Another process took the run over, or somebody ended it."""


def work_on(run_id: int) -> PlanRun | None:
    """Take a run up and carry it through; None if somebody else has it."""
    run = claim_run(run_id)
    if run is None:
        return None
    try:
        with Pulse(run):
            _stand_back()
            _carry_through(run)
    except Lost:
        log.warning("Plan run %d was taken over", run.pk)
    except (Refused, PlanProblemError) as refusal:
        _fail(run, str(refusal))
    except Exception:
        _fail(run, "Something went wrong while the plan was looked for; it stands in the log.")
        raise
    run.refresh_from_db()
    return run


def _stand_back() -> None:
    """Let pages have a processor first. Processes begun by this thread are as modest."""
    now = os.getpriority(os.PRIO_PROCESS, 0)
    os.setpriority(os.PRIO_PROCESS, 0, max(now, settings.PLANNING_NICE))


def _carry_through(run: PlanRun) -> None:
    gathered = gathered_for(run)
    recorder = Recorder(run, gathered)
    recorder.note_lateness_before()
    recorder.tell(force=True)
    found = solve_plan(
        gathered.problem,
        seed=run.seed,
        stop=AnyOf((AfterSeconds(_seconds_left(run)), WhenAsked(recorder.asked_to_stop))),
        on_better=recorder.on_better,
        start_from=plan_from_json(run.best) if run.best else present_plan(gathered),
        cores=settings.PLANNING_CORES,
    )
    if found.lost_processes:
        run.notes = [*run.notes, WENT_ON_ALONE]
    recorder.on_better(found.plan, found.objective, recorder.elapsed_s - recorder.spent_s)
    recorder.tell(force=True)
    _finish(run, gathered, found.plan, recorder.alive)


def gathered_for(run: PlanRun) -> Gathered:
    """The problem of a run, as the database stands now."""
    overruns = {int(pk): datetime.fromisoformat(ends) for pk, ends in run.overruns.items()}
    gathered = gather(
        run.company,
        run.first_day,
        run.days,
        from_moment=max(run.from_moment, timezone.now()),
        overruns=overruns,
        weights=weights_of_run(run),
    )
    return wished(gathered, Wishes.from_json(run.wishes))


def end_with_best(run: PlanRun, note: str) -> None:
    """End a run whose process is gone with the best plan it had; without one it failed.

    The run's claim must be the caller's.
    """
    if not run.best:
        _fail(run, note)
        return
    try:
        gathered = gathered_for(run)
        plan = plan_from_json(run.best)
        run.notes = [*run.notes, note]
        _finish(run, gathered, plan, lambda: None)
    except (Refused, PlanProblemError, KeyError, Lost) as refusal:
        log.warning("The best plan of run %d is of no use any more: %s", run.pk, refusal)
        _fail(run, note)


def _seconds_left(run: PlanRun) -> float:
    """A run taken up again looks for the rest of its time, at least a little."""
    spent = float((run.progress or {}).get("elapsed_s", 0.0))
    return max(run.seconds - spent, min(5.0, run.seconds))


# --- Telling how far it is


@dataclass(slots=True)
class Recorder:
    """Remembers the best plan and writes it down, once a second at most; hears of being stopped.

    `spent_s`: what processes before this one looked for [s]; times go on from there.
    """

    run: PlanRun
    gathered: Gathered
    began_s: float = field(default_factory=time.monotonic)
    told_s: float = -BEAT_S
    plan: Plan | None = None
    fresh: bool = False
    stop: bool = False
    spent_s: float = 0.0
    progress: dict[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.progress = dict(self.run.progress or {})
        self.spent_s = float(self.progress.get("elapsed_s", 0.0))

    @property
    def elapsed_s(self) -> float:
        return self.spent_s + time.monotonic() - self.began_s

    def on_better(self, plan: Plan, objective: Objective, elapsed_s: float) -> None:
        """A better plan was found, `elapsed_s` after this process began to look."""
        elapsed_s += self.spent_s
        first = self.plan is None
        self.plan, self.fresh = plan, True
        self.progress |= {
            "objective": _amounts(objective),
            "placed": sum(1 for _ in plan.placed()),
            **_left_out(self.gathered, plan),
            "better_count": self.progress.get("better_count", 0) + self._beats_the_last(objective),
        }
        self.progress.setdefault("first_plan_after_s", round(elapsed_s, 2))
        curve = self.progress.setdefault("curve", [])
        curve.append([round(elapsed_s, 1), round(objective.total, 1)])
        if len(curve) > MOST_POINTS_OF_CURVE:
            del curve[1::2]
        self.tell(force=first)

    def _beats_the_last(self, objective: Objective) -> bool:
        """The first plan beats none; neither does the last one, told once more at the end."""
        curve = self.progress.get("curve")
        return bool(curve) and round(objective.total, 1) < curve[-1][1]

    def note_lateness_before(self) -> None:
        """Where something came between: what was late before it, so that the rest is its doing."""
        if Wishes.from_json(self.run.wishes).disturbed is not None:
            minutes, points = late_as_booked(self.gathered.problem)
            self.progress |= {"late_before_min": minutes, "late_before_points": points}

    def asked_to_stop(self) -> bool:
        """Asked after every step of the search; looks at the database once a second."""
        self.tell()
        return self.stop

    def alive(self) -> None:
        """A sign of life while reasons are worked out."""
        self.tell()

    def tell(self, *, force: bool = False) -> None:
        """Write progress, best plan and sign of life; raise Lost if the run is not ours."""
        if not force and time.monotonic() - self.told_s < BEAT_S:
            return
        self.told_s = time.monotonic()
        self.progress["elapsed_s"] = round(self.elapsed_s, 1)
        values: dict[str, Any] = {"heartbeat_at": timezone.now(), "progress": self.progress}
        if self.fresh and self.plan is not None:
            values["best"] = plan_to_json(self.plan)
            self.fresh = False
        ours = PlanRun.objects.filter(pk=self.run.pk, claim=self.run.claim)
        if not ours.update(**values):
            raise Lost
        self.stop = self.stop or ours.filter(state=State.STOPPING).exists()


def _left_out(gathered: Gathered, plan: Plan) -> dict[str, int]:
    """How many that wait stay unplanned, and how many that are booked would be taken off."""
    off = sum(1 for one in plan.unplanned if one.key in gathered.visits)
    return {"left": len(plan.unplanned) - off + len(gathered.left), "taken_off": off}


def _amounts(objective: Objective) -> dict[str, float]:
    return {**asdict(objective), "total": round(objective.total, 2)}


# --- The end


def _finish(run: PlanRun, gathered: Gathered, plan: Plan, alive: Callable[[], None]) -> None:
    """Store the proposals and say so, all or nothing."""
    plan = _explained(gathered, _without_candidates(run, gathered, plan), alive)
    lines = propose(run, gathered, plan, _prices(gathered, plan, alive))
    with transaction.atomic():
        locked = PlanRun.objects.select_for_update(of=("self",)).get(pk=run.pk)
        if locked.claim != run.claim or not locked.is_under_way:
            raise Lost
        ProposedVisit.objects.bulk_create(lines, batch_size=500)
        locked.state, locked.ended_at = State.READY, timezone.now()
        locked.notes = [note[:300] for note in dict.fromkeys([*run.notes, *gathered.notes])]
        locked.best = plan_to_json(plan)
        locked.claim = None
        locked.save(update_fields=["state", "ended_at", "notes", "best", "claim"])


def _without_candidates(run: PlanRun, gathered: Gathered, plan: Plan) -> Plan:
    """What was only looked at for a gap, and did not get it, waits as it did: nothing to tell."""
    if Wishes.from_json(run.wishes).waiting == Waiting.PLAN:
        return plan
    left = tuple(one for one in plan.unplanned if one.key in gathered.visits)
    return replace(plan, unplanned=left)


def _explained(gathered: Gathered, plan: Plan, alive: Callable[[], None]) -> Plan:
    """The plan with the reasons of everything that stayed out, as far as the time for it goes."""
    until = time.monotonic() + EXPLAINING_S
    told: list[Unplanned] = []
    for left in plan.unplanned:
        if time.monotonic() < until:
            left = Unplanned(left.key, explain_unplanned(gathered.problem, plan, left.key))
        told.append(left)
        alive()
    return replace(plan, unplanned=tuple(told))


def _prices(gathered: Gathered, plan: Plan, alive: Callable[[], None]) -> dict[str, MovingCost]:
    """What moving each placed visit would cost, as far as the time for it goes.

    What is booked and would change comes first: there somebody has to be told.
    """
    until = time.monotonic() + PRICING_S
    placed = dict.fromkeys(stop.key for _, stop in plan.placed())
    keys = sorted(placed, key=lambda key: key not in gathered.visits)
    prices: dict[str, MovingCost] = {}
    for key in keys:
        if time.monotonic() > until:
            break
        if not gathered.problem.visit(key).fixed:
            prices[key] = cost_of_moving(gathered.problem, plan, key)
        alive()
    return prices


def _fail(run: PlanRun, failure: str) -> None:
    PlanRun.objects.filter(
        pk=run.pk, claim=run.claim, state__in=(State.RUNNING, State.STOPPING)
    ).update(state=State.FAILED, failure=failure[:400], ended_at=timezone.now(), claim=None)
