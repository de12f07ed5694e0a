"""A run's price and proposals as a page tells them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from jobs.models import Job, ProposedVisit
from jobs.planning.spelling import spell_minutes

Change = ProposedVisit.Change
HEADINGS = {
    Change.NEW: "To be booked",
    Change.MOVED: "To be moved",
    Change.OTHER_CREW: "To go to another crew",
    Change.TAKEN_OFF: "To be taken off",
    Change.LEFT: "Left out",
    Change.KEPT: "As booked",
}


@dataclass(frozen=True, slots=True)
class ObjectiveLine:
    """One part of what a plan costs: how much of it, and its points."""

    label: str
    amount: str
    points: float


@dataclass(frozen=True, slots=True)
class ShownLine:
    """A proposal with the job it is about."""

    line: ProposedVisit
    job: Job


@dataclass(frozen=True, slots=True)
class Group:
    """Proposals of one kind. `can_answer`: some of them would change what is booked."""

    heading: str
    change: str
    lines: tuple[ShownLine, ...]
    can_answer: bool


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


def grouped(lines: Iterable[ProposedVisit]) -> tuple[Group, ...]:
    """Proposals by what they would do, in the order in which a planner wants them."""
    found: dict[str, list[ProposedVisit]] = {change: [] for change in HEADINGS}
    for line in lines:
        found[line.change].append(line)
    return tuple(
        Group(
            HEADINGS[change],
            change,
            tuple(ShownLine(line, (line.visit or line.need).job) for line in of_kind),
            change not in (Change.LEFT, Change.KEPT) and any(x.answer == "none" for x in of_kind),
        )
        for change, of_kind in found.items()
        if of_kind
    )
