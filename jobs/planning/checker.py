"""Every rule of the problem, held against a plan: the judge that no solver has a hand in.

Written from the description of the problem in `problem.py`, without any of the solver's code. What
a person fixed is a fact and is not judged: a fixed visit must lie where it was fixed, and what
consists of fixed visits only (a trip's load, the way between two of them) is taken as it is.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator

from jobs.planning.checker_rounds import check_round
from jobs.planning.objective import day_of
from jobs.planning.plan import Plan, Round, Stop, Violation
from jobs.planning.problem import PlanProblem, VisitToPlan


def check_plan(problem: PlanProblem, plan: Plan) -> tuple[Violation, ...]:
    """Every rule that the plan breaks; empty for a good plan."""
    unknown = tuple(_unknown_keys(problem, plan))
    if unknown:
        return unknown
    found: list[Violation] = []
    for round_ in plan.rounds:
        found.extend(check_round(problem, round_))
    for check in (
        _each_shift_once,
        _each_visit_once,
        _present,
        _fixed_where_they_stood,
        _parts_in_a_row,
        _order_kept,
        _one_place_at_a_time,
        _stock_lasts,
    ):
        found.extend(check(problem, plan))
    return tuple(found)


def _unknown_keys(problem: PlanProblem, plan: Plan) -> Iterator[Violation]:
    """Shifts, visits, parts and depots that the problem does not know."""
    for round_ in plan.rounds:
        if round_.shift not in problem.shift_index:
            yield Violation("unknown", round_.shift, "No shift of that key.")
    for _, stop in plan.placed():
        if stop.key not in problem.visit_index:
            yield Violation("unknown", stop.key, "No visit of that key.")
        elif not 0 <= stop.part < len(problem.visit(stop.key).lengths_s):
            yield Violation("unknown", stop.key, f"It has no part {stop.part}.")
    for one in plan.unplanned:
        if one.key not in problem.visit_index:
            yield Violation("unknown", one.key, "No visit of that key.")


def _each_shift_once(problem: PlanProblem, plan: Plan) -> Iterator[Violation]:
    for shift, times in Counter(round_.shift for round_ in plan.rounds).items():
        if times > 1:
            yield Violation("shift_twice", shift, f"It has {times} rounds.")


def _each_visit_once(problem: PlanProblem, plan: Plan) -> Iterator[Violation]:
    placed = Counter((stop.key, stop.part) for _, stop in plan.placed())
    for (key, part), times in placed.items():
        if times > 1:
            yield Violation("visit_twice", key, f"Part {part} is planned {times} times.")
    planned = {key for key, _ in placed}
    left = Counter(one.key for one in plan.unplanned)
    for key in left:
        if key in planned or left[key] > 1:
            yield Violation("visit_twice", key, "It is told as unplanned and is also elsewhere.")
    for visit in problem.visits:
        if visit.key not in planned and visit.key not in left:
            yield Violation("visit_lost", visit.key, "It is neither planned nor told as unplanned.")


def _present(problem: PlanProblem, plan: Plan) -> Iterator[Violation]:
    for one in plan.unplanned:
        if problem.visit(one.key).required:
            yield Violation("required_left_out", one.key, "It is required and not planned.")


def _fixed_where_they_stood(problem: PlanProblem, plan: Plan) -> Iterator[Violation]:
    at = {stop.key: (round_, stop) for round_, stop in plan.placed()}
    for visit in problem.visits:
        promise = visit.promised
        if not visit.fixed or promise is None:
            continue
        day = day_of(problem, promise.starts_s)
        own = [s for s in problem.shifts if s.crew == promise.crew and s.day == day]
        if visit.key not in at:
            if own:
                yield Violation("fixed_left_out", visit.key, "It is fixed and not planned.")
            continue
        round_, stop = at[visit.key]
        crew = problem.shift(round_.shift).crew
        if (crew, stop.starts_s) != (promise.crew, promise.starts_s):
            yield Violation("fixed_moved", visit.key, "It is fixed and lies elsewhere.")


def _parts_in_a_row(problem: PlanProblem, plan: Plan) -> Iterator[Violation]:
    """All parts or none, in order, each on the crew's next working day."""
    by_key: dict[str, dict[int, Round]] = defaultdict(dict)
    for round_, stop in plan.placed():
        by_key[stop.key][stop.part] = round_
    for key, parts in by_key.items():
        count = len(problem.visit(key).lengths_s)
        if count == 1:
            continue
        if len(parts) != count:
            yield Violation("parts_missing", key, f"{len(parts)} of {count} parts are planned.")
            continue
        shifts = [problem.shift(parts[part].shift) for part in range(count)]
        row = [shift.key for shift in problem.crew_shifts(shifts[0].crew)]
        if any(shift.crew != shifts[0].crew for shift in shifts):
            yield Violation("parts_crews", key, "Its parts are split over crews.")
            continue
        first = row.index(shifts[0].key)
        if [shift.key for shift in shifts] != row[first : first + count]:
            yield Violation("parts_days", key, "Its parts are not on consecutive working days.")


def _order_kept(problem: PlanProblem, plan: Plan) -> Iterator[Violation]:
    starts: dict[str, int] = {}
    ends: dict[str, int] = {}
    for _, stop in plan.placed():
        starts[stop.key] = min(stop.starts_s, starts.get(stop.key, stop.starts_s))
        ends[stop.key] = max(stop.leaves_s, ends.get(stop.key, stop.leaves_s))
    for visit in problem.visits:
        if visit.key not in starts or visit.fixed:
            continue
        for after in visit.after:
            before = after.key
            if before not in ends:
                yield Violation("order", visit.key, f"It comes after {before}, not planned.")
            elif starts[visit.key] < ends[before] + after.gap_s:
                yield Violation("order", visit.key, f"It starts too early after {before}.")


def _one_place_at_a_time(problem: PlanProblem, plan: Plan) -> Iterator[Violation]:
    """No stop of a crew overlaps another, over all of its rounds."""
    by_crew: dict[str, list[Stop]] = defaultdict(list)
    for round_ in plan.rounds:
        by_crew[problem.shift(round_.shift).crew].extend(round_.stops)
    for crew, stops in by_crew.items():
        ordered = sorted(stops, key=lambda stop: (stop.starts_s, stop.leaves_s))
        for before, after in zip(ordered, ordered[1:], strict=False):
            if after.starts_s < before.leaves_s:
                yield Violation("two_places", crew, f"{before.key} and {after.key} overlap.")


def _stock_lasts(problem: PlanProblem, plan: Plan) -> Iterator[Violation]:
    """What is loaded by the end of each day is at most what can lie there until then."""
    loads = list(_loads(problem, plan))
    for depot in problem.depots:
        own = [load for load in loads if load[0] == depot.key]
        for day, allowed in enumerate(depot.stock_by_day):
            for item, pieces in allowed.items():
                until = [x for x in own if x[1] <= day and x[2].get(item)]
                used = sum(x[2][item] for x in until)
                if used > pieces and not all(x[3].fixed for x in until):
                    words = f"{used} of {item} by {problem.days[day]}, {pieces} can be there."
                    yield Violation("stock", depot.key, words)


def _loads(
    problem: PlanProblem, plan: Plan
) -> Iterable[tuple[str, int, dict[str, int], VisitToPlan]]:
    """(depot, day, pieces by item, visit) of every planned part that a depot serves."""
    for round_, stop in plan.placed():
        shift, visit = problem.shift(round_.shift), problem.visit(stop.key)
        if shift.depot is not None and visit.stock:
            yield shift.depot, shift.day, visit.part_stock(stop.part), visit
