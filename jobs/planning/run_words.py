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


def _late(
    minutes: float, points: float, before: tuple[float, float] | None
) -> tuple[ObjectiveLine, ...]:
    if before is None:
        return (ObjectiveLine("Late", spell_minutes(minutes), points),)
    more = max(0.0, minutes - before[0]), max(0.0, points - before[1])
    return (
        ObjectiveLine("Later because of this", spell_minutes(more[0]), more[1]),
        ObjectiveLine("Late before", spell_minutes(before[0]), before[1]),
    )


def objective_lines(
    objective: Mapping[str, float] | None, late_before: tuple[float, float] | None = None
) -> tuple[ObjectiveLine, ...]:
    """The parts of a plan's price, in words; nothing before the first plan is found.

    `late_before`: minutes and points of what was late before something came between, told apart.
    """
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
        *_late(part("late_min"), part("late_points"), late_before),
        ObjectiveLine("Overtime", spell_minutes(part("overtime_min")), part("overtime_points")),
        ObjectiveLine("Left out", f"{part('left_out'):.0f}", part("left_out_points")),
        ObjectiveLine("Moved", f"{moved:.0f}", part("moved_points")),
    )
