"""A run's price as a page tells it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from jobs.planning.spelling import spell_minutes


@dataclass(frozen=True, slots=True)
class ObjectiveLine:
    """One part of what a plan costs: how much of it, and its points."""

    label: str
    amount: str
    points: float


def objective_lines(objective: Mapping[str, float] | None) -> tuple[ObjectiveLine, ...]:
    """The parts of a plan's price, in words; nothing before the first plan is found."""
    if not objective:
        return ()

    def part(name: str) -> float:
        return float(objective.get(name) or 0)

    moved = sum(
        part(name)
        for name in (
            "promises_moved_time",
            "promises_moved_day",
            "promises_other_crew",
            "booked_moved",
        )
    )
    return (
        ObjectiveLine("Driving", spell_minutes(part("travel_min")), part("travel_points")),
        ObjectiveLine("Late", spell_minutes(part("late_min")), part("late_points")),
        ObjectiveLine("Overtime", spell_minutes(part("overtime_min")), part("overtime_points")),
        ObjectiveLine("Left out", f"{part('left_out'):.0f}", part("left_out_points")),
        ObjectiveLine("Moved", f"{moved:.0f}", part("moved_points")),
    )
