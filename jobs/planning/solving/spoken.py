"""Times and crews as the office says them, for reasons and prices."""

from __future__ import annotations

from jobs.planning.objective import day_of
from jobs.planning.problem import PlanProblem

DAY_S = 86_400


def clock(at_s: int) -> str:
    """Such as 10:20."""
    minutes = at_s % DAY_S // 60
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def day_name(problem: PlanProblem, day: int) -> str:
    """Such as Tue 1 Dec."""
    date = problem.days[day]
    return f"{date:%a} {date.day} {date:%b}"


def moment(problem: PlanProblem, at_s: int) -> str:
    """Such as Tue 1 Dec at 10:20."""
    day = day_of(problem, at_s)
    return f"{day_name(problem, day)} at {clock(at_s)}" if day >= 0 else clock(at_s)


def crew_name(problem: PlanProblem, shift: int) -> str:
    """What people call the crew of that shift."""
    found = problem.shifts[shift]
    return found.crew_label or found.crew


def crew_day(problem: PlanProblem, shift: int) -> str:
    """Such as North on Tue 1 Dec."""
    return f"{crew_name(problem, shift)} on {day_name(problem, problem.shifts[shift].day)}"


def minutes(points: float) -> str:
    """Points as minutes of driving, such as 35 min."""
    return f"{abs(points):.0f} min"
