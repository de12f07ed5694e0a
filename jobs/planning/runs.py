"""Plan runs: asked for, watched, stopped. The searching itself is in `run_work.py`.

A company has one run under way at a time; a unique constraint holds it. A run is claimed by a
conditional update, and every write of the working process names its claim, so that a process that
was taken for dead cannot write into a run that another one took over.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import F
from django.db.models.functions import Coalesce
from django.utils import timezone

from jobs.errors import Conflict, Refused, refusals_explained
from jobs.models import Company, PlanRun, User, Visit
from jobs.planning.disturbance import Disturbance
from jobs.planning.prices import prices_in_force
from jobs.planning.waiting import Waiting
from jobs.planning.wishes import MayMove, Wishes

State = PlanRun.State
MOST_DAYS = 42
LONGEST_SECONDS = 600
# A working process says every few seconds that it lives (`pulse.py`); silent for this long it is
# taken for dead. The beat looks every five seconds, so another one takes over in half a minute.
SILENT_S = 14
# The page says before that that nothing is heard of it.
QUIET_S = 8
# A run nobody took up for this long is sent again: the broker may have lost it.
UNCLAIMED_S = 60
MOST_ATTEMPTS = 3
# When something came between, what is booked should move as little as it can: our own choice.
CALM = Wishes(promises=4.0, may_move=MayMove.CLASHES)
# Looking for new places for a few visits takes seconds; for all that waits as well, longer.
LOOK_CALM_S, LOOK_ALL_S = 6, 20
# So many runs back the last wishes are looked for.
LOOKED_BACK = 20
# Three weeks: what fits nowhere in two full ones still finds a day, instead of coming off.
DAYS_ANEW = 21


def start_run(
    company: Company,
    *,
    by: User,
    first_day: date,
    days: int = 10,
    seconds: int = 60,
    seed: int = 1,
    because: str = "",
    from_moment: datetime | None = None,
    overruns: Mapping[int, datetime] | None = None,
    wishes: Wishes | None = None,
) -> PlanRun:
    """Ask for a plan of `days` days from `first_day`, looked for during at most `seconds` [s].

    Nothing before `from_moment` (now, by default) is touched. `overruns`: visits on site, by id,
    that will end later than booked. `wishes`: what matters more than usual, and what may move.

    Raises:
        Refused: a day gone by, or a number that cannot be (names the field).
        Conflict: a plan is being looked for already.
    """
    from_moment = from_moment or timezone.now()
    _check(first_day, days, seconds, from_moment)
    with refusals_explained():
        run = PlanRun.objects.create(
            company=company,
            first_day=first_day,
            days=days,
            seconds=seconds,
            seed=seed,
            because=because.strip()[:200],
            from_moment=from_moment,
            overruns={str(pk): ends.isoformat() for pk, ends in (overruns or {}).items()},
            wishes=wishes.as_json() if wishes else {},
            prices=prices_in_force(company),
            asked_by=by,
        )
        transaction.on_commit(lambda: _send(run.pk), robust=True)
    return run


def stop_run(run: PlanRun, by: User) -> PlanRun:
    """Stop looking; the best plan so far becomes the proposal. One that did not begin ends.

    Raises:
        Conflict: the run is over.
    """
    with transaction.atomic():
        run = PlanRun.objects.select_for_update(of=("self",)).get(pk=run.pk)
        if not run.is_under_way:
            raise Conflict("This run is over.", field="state", remedy="Look at what it proposes.")
        if run.state == State.WAITING:
            run.state, run.ended_at = State.FAILED, timezone.now()
            run.failure = f"Stopped by {by} before it began."
            run.save(update_fields=["state", "ended_at", "failure"])
        else:
            run.state = State.STOPPING
            run.save(update_fields=["state"])
    return run


def run_under_way(company: Company) -> PlanRun | None:
    return PlanRun.objects.filter(company=company, state__in=PlanRun.UNDER_WAY).first()


def latest_run(company: Company) -> PlanRun | None:
    return PlanRun.objects.filter(company=company).select_related("asked_by").first()


def last_wishes(company: Company) -> Wishes | None:
    """What was wished of the last run under today's prices, but for those of a disturbance.

    New prices are the office's taste anew: what was wished beside the old ones is not repeated.
    """
    runs = PlanRun.objects.filter(company=company, prices=prices_in_force(company))
    recent = runs.exclude(wishes={}).values_list("wishes", flat=True)[:LOOKED_BACK]
    kept = next((wishes for wishes in recent if not wishes.get("disturbed")), None)
    return Wishes.from_json(kept) if kept else None


# --- Watching


@dataclass(frozen=True, slots=True)
class RunProgress:
    """How far a run is. Times in seconds; `objective`: the best plan's price, by names.

    `late_before`: minutes late before something came between, and their points; None where the
    run is about nothing that came between.
    """

    state: str
    state_words: str
    elapsed_s: float
    seconds: int
    first_plan_after_s: float | None
    better_count: int
    placed: int
    left: int
    taken_off: int
    objective: Mapping[str, float] | None
    curve: tuple[tuple[float, float], ...]
    attempts: int
    notes: tuple[str, ...]
    failure: str
    late_before: tuple[float, float] | None = None

    @property
    def share(self) -> float:
        """How much of the time it may take has gone by, 0 to 1."""
        return min(1.0, self.elapsed_s / self.seconds)


def run_progress(run: PlanRun) -> RunProgress:
    """What the page shows of a run, from its row alone."""
    told: dict[str, Any] = run.progress or {}
    return RunProgress(
        state=run.state,
        state_words=_state_words(run),
        elapsed_s=_elapsed(run),
        seconds=run.seconds,
        first_plan_after_s=told.get("first_plan_after_s"),
        better_count=told.get("better_count", 0),
        placed=told.get("placed", 0),
        left=told.get("left", 0),
        taken_off=told.get("taken_off", 0),
        objective=told.get("objective"),
        curve=tuple((at, total) for at, total in told.get("curve", ())),
        attempts=run.attempts,
        notes=tuple(run.notes),
        failure=run.failure,
        late_before=_late_before(told),
    )


def _late_before(told: Mapping[str, Any]) -> tuple[float, float] | None:
    if "late_before_min" not in told:
        return None
    return float(told["late_before_min"]), float(told["late_before_points"])


def _state_words(run: PlanRun) -> str:
    """The state, or that nothing was heard of the process for longer than its beats take."""
    heard = run.heartbeat_at
    if run.state == State.WAITING and run.attempts:
        return "The planner process ended; another one goes on from the best plan so far"
    quiet_since = timezone.now() - timedelta(seconds=QUIET_S)
    if run.state == State.WAITING and run.asked_at < quiet_since:
        return (
            "No planner process has taken it up yet: it works on another company’s plan, or is "
            "not running"
        )
    if run.state == State.RUNNING and heard is not None and heard < quiet_since:
        return "The planner process does not answer; another one takes over within half a minute"
    return run.get_state_display()


def _elapsed(run: PlanRun) -> float:
    if run.started_at is None:
        return 0.0
    return max(0.0, ((run.ended_at or timezone.now()) - run.started_at).total_seconds())


# --- Claiming, and finding what was left lying


def claim_run(run_id: int) -> PlanRun | None:
    """Take up a waiting run; None if it is not waiting any more."""
    claim, now = uuid.uuid4(), timezone.now()
    claimed = PlanRun.objects.filter(pk=run_id, state=State.WAITING).update(
        state=State.RUNNING,
        claim=claim,
        heartbeat_at=now,
        started_at=Coalesce(F("started_at"), now),
        attempts=F("attempts") + 1,
    )
    if not claimed:
        return None
    return PlanRun.objects.select_related("company").get(pk=run_id)


def mind_runs(now: datetime | None = None) -> list[int]:
    """Put runs whose process fell silent back in the queue; the ids of those to send.

    A run that was tried often enough, or that somebody stopped, ends with the best plan it had.
    """
    now = now or timezone.now()
    silent = PlanRun.objects.filter(
        state__in=(State.RUNNING, State.STOPPING),
        heartbeat_at__lt=now - timedelta(seconds=SILENT_S),
    )
    again: list[int] = []
    for run in silent.select_related("company"):
        if run.state == State.STOPPING or run.attempts >= MOST_ATTEMPTS:
            _end_silent(run)
            continue
        ours = PlanRun.objects.filter(pk=run.pk, claim=run.claim, state=State.RUNNING)
        if ours.update(state=State.WAITING, claim=None, heartbeat_at=now):
            again.append(run.pk)
    return [*again, *_sent_long_ago(now)]


def _sent_long_ago(now: datetime) -> list[int]:
    """Runs that wait since long, now counted as sent anew; `heartbeat_at` says when they were."""
    long_ago = now - timedelta(seconds=UNCLAIMED_S)
    waiting = PlanRun.objects.filter(state=State.WAITING).alias(
        sent_at=Coalesce(F("heartbeat_at"), F("asked_at"))
    )
    lost = waiting.filter(sent_at__lt=long_ago)
    return [
        pk
        for pk in lost.values_list("pk", flat=True)
        if lost.filter(pk=pk).update(heartbeat_at=now)
    ]


def _end_silent(run: PlanRun) -> None:
    from jobs.planning.run_work import end_with_best

    taken = PlanRun.objects.filter(pk=run.pk, claim=run.claim).update(claim=uuid.uuid4())
    if taken:
        run.refresh_from_db()
        end_with_best(run, "The process that looked for the plan ended before its time.")


def _check(first_day: date, days: int, seconds: int, from_moment: datetime) -> None:
    today = timezone.localtime(from_moment).date()
    if first_day < min(today, timezone.localdate()):
        raise Refused(
            f"{first_day:%a %-d %b %Y} has passed.", field="first_day", remedy="Begin today."
        )
    if not 1 <= days <= MOST_DAYS:
        raise Refused(f"{days} days cannot be planned.", field="days", remedy="Give 1 to 42.")
    if not 1 <= seconds <= LONGEST_SECONDS:
        raise Refused(
            f"{seconds} s is not how long a plan is looked for.",
            field="seconds",
            remedy="Give 1 to 600.",
        )


def _send(run_id: int) -> None:
    from jobs.planning.tasks import run_plan

    run_plan.delay(run_id)


# --- Planning anew


def replan(
    company: Company,
    from_moment: datetime | None = None,
    *,
    by: User,
    because: str,
    days: int = DAYS_ANEW,
    seconds: int | None = None,
    overruns: Mapping[int, datetime] | None = None,
    disturbed: Disturbance | None = None,
    waiting: Waiting = Waiting.LEAVE,
) -> PlanRun:
    """Plan again from a moment on: what is before it or held stays, what was told has a price.

    `disturbed`: whose days are; only what clashes there moves. `waiting`: what becomes of visits
    that are not booked yet. `seconds`: without, as long as so much to plan takes.
    """
    moment = from_moment or timezone.now()
    if seconds is None:
        seconds = LOOK_ALL_S if waiting == Waiting.PLAN else LOOK_CALM_S
    return start_run(
        company,
        by=by,
        first_day=timezone.localtime(moment).date(),
        days=days,
        seconds=seconds,
        because=because,
        from_moment=moment,
        overruns=overruns,
        wishes=replace(CALM, waiting=waiting, disturbed=disturbed),
    )


def visit_overruns(
    visit: Visit, ends_at: datetime, *, by: User, waiting: Waiting = Waiting.LEAVE
) -> PlanRun:
    """A visit will last until `ends_at`: plan the rest of the days around it.

    Raises:
        Refused: it is over, or would end earlier than booked, or on another day.
        Conflict: a run is under way.
    """
    if visit.status not in (Visit.Status.BOOKED, Visit.Status.ON_SITE):
        raise Refused("This visit is over.", field="status")
    if ends_at <= visit.during.upper:
        raise Refused(
            "It would not end later than booked.", field="ends_at", remedy="Give a later time."
        )
    if timezone.localtime(ends_at).date() != timezone.localtime(visit.during.lower).date():
        raise Refused(
            "It would end on another day.",
            field="ends_at",
            remedy="Give a time of its own day, and book the rest of the work as another visit.",
        )
    because = f"{visit.job.reference} lasts until {timezone.localtime(ends_at):%H:%M}"
    return replan(
        visit.company,
        by=by,
        because=because,
        overruns={visit.pk: ends_at},
        disturbed=Disturbance.of_visit(visit),
        waiting=waiting,
    )
