"""Times and crews as the office says them, for reasons and prices."""

from __future__ import annotations

from jobs.planning.objective import day_of
from jobs.planning.problem import PlanProblem


def clock(problem: PlanProblem, at_s: int) -> str:
    """Such as 10:20, on the office's clock."""
    return f"{problem.local(at_s):%H:%M}"


def day_name(problem: PlanProblem, day: int) -> str:
    """Such as Tue 1 Dec."""
    date = problem.days[day]
    return f"{date:%a} {date.day} {date:%b}"


def moment(problem: PlanProblem, at_s: int) -> str:
    """Such as Tue 1 Dec at 10:20."""
    day = day_of(problem, at_s)
    return (
        f"{day_name(problem, day)} at {clock(problem, at_s)}" if day >= 0 else clock(problem, at_s)
    )


def crew_name(problem: PlanProblem, shift: int) -> str:
    """What people call the crew of that shift."""
    found = problem.shifts[shift]
    return found.crew_label or found.crew


def crew_day(problem: PlanProblem, shift: int) -> str:
    """Such as North on Tue 1 Dec."""
    return f"{crew_name(problem, shift)} on {day_name(problem, problem.shifts[shift].day)}"


def hours(seconds: int) -> str:
    """Such as 9 h, 5 h 45 min, 20 min."""
    minutes = round(seconds / 60)
    if minutes < 60:
        return f"{minutes} min"
    rest = f" {minutes % 60:02d} min" if minutes % 60 else ""
    return f"{minutes // 60} h{rest}"


def depot_name(problem: PlanProblem, shift: str) -> str:
    """The depot that a shift loads from, by its label."""
    key = problem.shift(shift).depot
    if key is None:
        return "the depot"
    return problem.depot(key).label or key
