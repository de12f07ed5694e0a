"""What a call-back of a job needs. Who knows what is short registers itself here."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from calculations.catalogue import RollType


@dataclass(frozen=True, slots=True)
class CallBackNeeds:
    """What puts a job right.

    rolls: catalogue code -> rolls; roll_types: of these. accessories: item -> quantity in its
    unit. volume_m3: of the packed rolls. crew_hours [h]: of the visit, by a crew of two.
    found_at: when it was found; call-backs from then on are for it. reason: why, in words.
    """

    rolls: Mapping[str, int]
    volume_m3: float
    crew_hours: float
    found_at: datetime
    reason: str
    roll_types: tuple[RollType, ...] = ()
    accessories: Mapping[str, float] = field(default_factory=dict)


CallBackSource = Callable[[Collection[int]], Mapping[int, CallBackNeeds]]

_sources: list[CallBackSource] = []


def register_call_back_source(source: CallBackSource) -> None:
    """`source` gives the needs of those jobs, by id, that it knows; in a few queries for all."""
    if source not in _sources:
        _sources.append(source)


def call_back_needs(job_ids: Iterable[int]) -> dict[int, CallBackNeeds]:
    """By job id, of the first source that knows; jobs that nothing is known of are left out."""
    left, found = set(job_ids), {}
    for source in _sources:
        if left:
            found |= {pk: needs for pk, needs in source(frozenset(left)).items() if pk in left}
            left -= found.keys()
    return found
