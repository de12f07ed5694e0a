"""What must hold between the parts of a planning problem; each error names key and remedy."""

from __future__ import annotations

from typing import TYPE_CHECKING

from jobs.planning.plan_errors import PlanProblemError, require

if TYPE_CHECKING:
    from jobs.planning.problem import PlanProblem


def check_problem(problem: PlanProblem) -> None:
    """Raise `PlanProblemError` for the first thing that cannot be."""
    _check_frame(problem)
    _check_places(problem)
    _check_shifts(problem)
    _check_depots(problem)
    _check_orders(problem)
    _check_fixed_apart(problem)


def _check_frame(problem: PlanProblem) -> None:
    aware = problem.starts_at.utcoffset() is not None
    require(aware, "problem", "starts_at", "has no time zone.", "Give an aware time.")
    ordered = all(a < b for a, b in zip(problem.days, problem.days[1:], strict=False))
    fine = bool(problem.days) and ordered
    require(fine, "problem", "days", "are none, or out of order.", "Give dates in order.")
    step = problem.start_step_s
    require(step >= 1, "problem", "start_step_s", f"is {step}.", "Give 1 second or more.")
    size, count = problem.travel.seconds.shape[0], len(problem.places)
    found = f"is {size} by {size} for {count} places."
    require(size == count, "travel", "seconds", found, "Give a row for each place.")


def _check_places(problem: PlanProblem) -> None:
    wanted = [(visit.key, "place", visit.place) for visit in problem.visits]
    wanted += [(depot.key, "place", depot.place) for depot in problem.depots]
    wanted += [(shift.key, "start_place", shift.start_place) for shift in problem.shifts]
    wanted += [(shift.key, "end_place", shift.end_place) for shift in problem.shifts]
    for key, field, place in wanted:
        known = place in problem.place_index
        require(known, key, field, f"names no place: {place!r}.", "Add it to places.")


def _check_shifts(problem: PlanProblem) -> None:
    seen: set[tuple[str, int]] = set()
    for shift in problem.shifts:
        dated = 0 <= shift.day < len(problem.days)
        require(dated, shift.key, "day", f"is {shift.day}.", "Give an index into days.")
        once = (shift.crew, shift.day) not in seen
        found = f"has two shifts of {shift.crew} on a day."
        require(once, shift.key, "day", found, "Give one shift, with a break between its halves.")
        seen.add((shift.crew, shift.day))
        known = shift.depot is None or shift.depot in problem.depot_index
        require(known, shift.key, "depot", f"is unknown: {shift.depot!r}.", "Add it to depots.")
    for crew in {shift.crew for shift in problem.shifts}:
        own = problem.crew_shifts(crew)
        for before, after in zip(own, own[1:], strict=False):
            apart = before.closes_s + before.overtime_s <= after.opens_s
            found = f"opens before {before.key} has ended."
            require(apart, after.key, "opens_s", found, "Let shifts of a crew lie apart.")


def _check_depots(problem: PlanProblem) -> None:
    for depot in problem.depots:
        full = len(depot.stock_by_day) in (0, len(problem.days))
        found = f"has {len(depot.stock_by_day)} entries for {len(problem.days)} days."
        require(full, depot.key, "stock_by_day", found, "Give one for each day, or none.")


def _check_orders(problem: PlanProblem) -> None:
    ahead = {visit.key: [after.key for after in visit.after] for visit in problem.visits}
    for key, befores in ahead.items():
        for before in befores:
            known = before in ahead
            remedy = "Add that visit, or drop the order if it is done."
            require(known, key, "after", f"names no visit: {before!r}.", remedy)
    done: set[str] = set()
    for key in ahead:
        _walk_back(key, ahead, [], done)


def _walk_back(key: str, ahead: dict[str, list[str]], path: list[str], done: set[str]) -> None:
    if key in path:
        found = f"comes round in a ring: {' after '.join([*path[path.index(key) :], key])}."
        raise PlanProblemError(key, "after", found, "Break the ring at one of them.")
    if key in done:
        return
    for before in ahead[key]:
        _walk_back(before, ahead, [*path, key], done)
    done.add(key)


def _check_fixed_apart(problem: PlanProblem) -> None:
    """Two fixed visits of a crew at a time cannot both be: the board would have refused one."""
    fixed = sorted(
        (visit.promised.crew, visit.promised.starts_s, visit.service_s, visit.key)
        for visit in problem.visits
        if visit.fixed and visit.promised is not None
    )
    for before, after in zip(fixed, fixed[1:], strict=False):
        apart = before[0] != after[0] or before[1] + before[2] <= after[1]
        found = f"overlaps {before[3]}, fixed for the same crew."
        require(apart, after[3], "fixed", found, "Release one of the two.")
