"""The depth a job is planned to. Who knows the rules registers itself here."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from calculations.depths import DepthRequirement
from jobs.errors import Refused
from jobs.models.jobs import Job


@dataclass(frozen=True, slots=True)
class DepthTarget:
    """Depth to lay to in mm, the rule it comes from in words, and what proves it."""

    depth_mm: float
    source: str
    requirement: DepthRequirement


_sources: list[Callable[[Job], DepthTarget | None]] = []


def register_target_source(source: Callable[[Job], DepthTarget | None]) -> None:
    if source not in _sources:
        _sources.append(source)


def depth_target(job: Job) -> DepthTarget:
    """The target of the first source that knows one.

    Raises:
        Refused: no depth rule is in force for the property's nation.
    """
    for source in _sources:
        target = source(job)
        if target is not None:
            return target
    raise Refused(
        f"No depth rule is in force for {job.property.get_nation_display()}.",
        field="nation",
        remedy="Ask a compliance officer to approve one.",
    )
