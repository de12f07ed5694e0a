"""A plan looked for by two processes: the same plan, whatever becomes of one of them."""

from __future__ import annotations

import io
import os
import pickle
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest
from hypothesis import given, settings

from benchmarks.random_rounds import random_problem
from benchmarks.vrptw_files import published
from jobs.planning.checker import check_plan
from jobs.planning.plan import Objective, Plan
from jobs.planning.problem import PlanProblem
from jobs.planning.solving import side_messages, sides
from jobs.planning.solving.draft import Draft
from jobs.planning.solving.first_plan import first_draft
from jobs.planning.solving.part_work import PartAnswer, worked
from jobs.planning.solving.parts import Part, shared_out
from jobs.planning.solving.side_messages import Begin, Done, Ready
from jobs.planning.solving.solve import SolveResult, joined, solve_plan
from jobs.planning.solving.stopping import AfterIterations, WhenAsked
from jobs.planning.solving.tables import tables_of
from tests.jobs.planning.instances import problems
from tests.jobs.planning.test_every_plan_is_sound import QUIET, broken

PATIENCE_S = 120.0
STEPS = AfterIterations(160)
ROOT = Path(__file__).resolve().parents[3]


class Watched:
    """What this process and the one beside it say to each other.

    This process begins its own first part only when `enough` says so, since the other one takes
    a moment to start and would find no work left.
    """

    def __init__(self, monkeypatch: pytest.MonkeyPatch, enough: Callable[[Watched], bool]) -> None:
        self.begun = self.done = self.ready = 0
        self.began: list[sides.Side] = []
        self.enough = enough
        send, receive, init = sides.send, sides.receive, sides.Side.__init__

        def spy_send(channel: object, message: object) -> None:
            self.begun += isinstance(message, Begin)
            send(channel, message)

        def spy_receive(channel: object) -> object:
            message = receive(channel)
            self.done += isinstance(message, Done)
            self.ready += isinstance(message, Ready)
            return message

        def spy_init(side: sides.Side, problem: PlanProblem) -> None:
            init(side, problem)
            self.began.append(side)

        def patient(
            draft: Draft, part: Part, asked: Callable[[], bool], shown: object = None
        ) -> PartAnswer:
            until_s = time.monotonic() + PATIENCE_S
            while not self.enough(self) and time.monotonic() < until_s and not asked():
                time.sleep(0.002)
            return worked(draft, part, asked, shown)

        monkeypatch.setattr(sides, "send", spy_send)
        monkeypatch.setattr(sides, "receive", spy_receive)
        monkeypatch.setattr(sides.Side, "__init__", spy_init)
        monkeypatch.setattr(sides, "worked", patient)

    @property
    def all_ended(self) -> bool:
        """Whether every process that was begun is gone, and was waited for."""
        return bool(self.began) and all(s.process.returncode is not None for s in self.began)


@pytest.fixture(scope="module")
def problem() -> PlanProblem:
    """Large enough to be cut in two."""
    return random_problem(104, 6, 3, seed=5)


@pytest.fixture(scope="module")
def alone(problem: PlanProblem) -> SolveResult:
    return solve_plan(problem, stop=STEPS, seed=7, cores=1)


def test_two_processes_find_the_same_plan_as_one(
    problem: PlanProblem, alone: SolveResult, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each better plan that is told breaks no rule, and none of the processes is left behind."""
    watched = Watched(monkeypatch, lambda seen: seen.done > 0)
    told: list[tuple[float, Plan]] = []

    def note(plan: Plan, objective: Objective, elapsed_s: float) -> None:
        told.append((objective.total, plan))

    found = solve_plan(problem, stop=STEPS, seed=7, cores=2, on_better=note)
    assert watched.done > 0
    assert found.plan == alone.plan
    assert (found.iterations, found.lost_processes) == (alone.iterations, 0)
    assert [total for total, _ in told] == sorted((total for total, _ in told), reverse=True)
    assert [broken(problem, plan) for _, plan in told] == [[]] * len(told)
    assert watched.all_ended


def test_a_process_that_is_killed_in_the_midst_of_its_part_changes_nothing(
    problem: PlanProblem, alone: SolveResult, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The other one does its part too, gives the same plan, and says that it was alone."""

    def kill_when_at_work(seen: Watched) -> bool:
        if seen.begun:
            seen.began[0].process.kill()
        return bool(seen.begun)

    watched = Watched(monkeypatch, kill_when_at_work)
    found = solve_plan(problem, stop=STEPS, seed=7, cores=2)
    assert (watched.begun, watched.done) == (1, 0)
    assert found.plan == alone.plan
    assert found.lost_processes == 1
    assert watched.all_ended


def test_a_process_that_cannot_be_started_is_done_without(
    problem: PlanProblem, alone: SolveResult, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "executable", "/nowhere/python")
    found = solve_plan(problem, stop=STEPS, seed=7, cores=2)
    assert found.plan == alone.plan
    assert found.lost_processes == 1


def test_a_search_that_is_stopped_ends_the_parts_of_both_processes(
    problem: PlanProblem, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is stopped while the other is at a part of many steps: its answer is there, cut short."""
    watched = Watched(monkeypatch, lambda seen: seen.begun > 0)
    monkeypatch.setattr("jobs.planning.solving.sharing.MIXED_STEPS", 10**9)
    monkeypatch.setattr(sides, "CEASING_S", PATIENCE_S)
    stop = WhenAsked(lambda: watched.begun > 0)
    found = solve_plan(problem, stop=stop, seed=7, cores=2)
    assert watched.done == 1
    assert 0 < found.iterations < 10**9
    assert broken(problem, found.plan) == []
    assert watched.all_ended


def test_nothing_is_left_behind_when_the_planners_process_is_killed(tmp_path: Path) -> None:
    """Its like, with one beside it and no end in sight, is killed outright: both are gone."""
    program = """
import sys
from benchmarks.random_rounds import random_problem
from jobs.planning.solving import sides
from jobs.planning.solving.solve import solve_plan
send = sides.send
def told(channel, message):
    send(channel, message)
    print(beside.pop().process.pid if beside else "", flush=True)
beside = []
init = sides.Side.__init__
def noted(side, problem):
    init(side, problem)
    beside.append(side)
sides.send, sides.Side.__init__ = told, noted
solve_plan(random_problem(104, 6, 3, seed=5), stop=lambda progress: False, cores=2)
"""
    planner = subprocess.Popen([sys.executable, "-c", program], cwd=ROOT, stdout=subprocess.PIPE)
    assert planner.stdout is not None
    beside = int(planner.stdout.readline())
    assert is_running(beside)
    os.kill(planner.pid, signal.SIGKILL)
    planner.wait()
    planner.stdout.close()
    until_s = time.monotonic() + PATIENCE_S
    while is_running(beside) and time.monotonic() < until_s:
        time.sleep(0.02)
    assert not is_running(beside)


def is_running(pid: int) -> bool:
    """Whether the process still runs; one that is dead and not yet waited for does not."""
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return False
    return state not in "ZX"


def test_routing_at_once_gives_the_same_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two seeds on the whole of a published instance, the better taken."""
    instance = published("RC208").problem
    watched = Watched(monkeypatch, lambda seen: seen.ready == len(seen.began))
    stop = AfterIterations(120)
    plans = [solve_plan(instance, stop=stop, seed=3, cores=2).plan for _ in range(2)]
    assert watched.done >= 2
    assert plans[0] == plans[1]
    assert check_plan(instance, plans[0]) == ()


@settings(QUIET, max_examples=30)
@given(problems())
def test_parts_improved_apart_make_a_sound_plan_together(problem: PlanProblem) -> None:
    """Stock that both took the last of, and visits that follow each other, among them."""
    tables = tables_of(problem)
    draft = first_draft(tables, None)
    chance = Random(3)
    parts = [replace(part, steps=25) for part in shared_out(draft, chance, 2, by_place=False)]
    assert sorted(s for part in parts for s in part.shifts) == list(range(len(problem.shifts)))
    visits = [visit for part in parts for visit in part.left]
    assert len(visits) == len(set(visits))
    answers: Sequence[PartAnswer] = [worked(draft, part, lambda: False) for part in parts]
    for part, answer in zip(parts, answers, strict=True):
        assert set(answer.rounds) <= set(part.shifts)
    together = joined(draft, answers)
    assert broken(problem, together.to_plan()) == []
    assert together.units <= draft.units


def test_a_draft_is_the_same_at_the_other_end_of_the_line(problem: PlanProblem) -> None:
    """And so is the problem, with its mappings that cannot be written to."""
    file = io.BytesIO()
    side_messages.write_problem(problem, file)
    file.seek(0)
    twin = side_messages.read_problem(file)
    assert (twin.visits, twin.shifts, twin.places) == (
        problem.visits,
        problem.shifts,
        problem.places,
    )
    draft = first_draft(tables_of(problem), None)
    there = Draft.unpacked(tables_of(twin), pickle.loads(pickle.dumps(draft.packed())))
    assert there.to_plan() == draft.to_plan()
    assert there.units == draft.units
