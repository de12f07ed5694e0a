"""Where in a round the van goes back to the depot, read off the loads of the day."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from jobs.loading.needs import VisitShare
from jobs.loading.splitting import ToCarry, split_into_trips


@dataclass(frozen=True, slots=True)
class Reload:
    """Going back for load `number` (from 2), which `visit` needs.

    `during`: that visit was begun with an earlier load, so the van goes back while the crew is
    there; else before it.
    """

    number: int
    visit: int
    during: bool


def reloads_of(loads: Iterable[tuple[int, Sequence[int]]]) -> tuple[Reload, ...]:
    """From loads as (number, visits in order). A load that carries for nobody is left out."""
    seen: set[int] = set()
    found = []
    for number, visits in loads:
        if not visits:
            continue
        if seen:
            found.append(Reload(number, visits[0], during=visits[0] in seen))
        seen.update(visits)
    return tuple(found)


def reloads_planned(shares: Iterable[VisitShare], van_m3: float | None) -> tuple[Reload, ...]:
    """Of visits in order of time, by what each takes and what the van holds [m3]."""
    to_carry = [
        ToCarry(
            share.visit.pk,
            share.rolls,
            {code: share.material.roll_m3(code) for code in share.rolls},
        )
        for share in shares
    ]
    trips = split_into_trips(to_carry, van_m3)
    numbered = enumerate(trips, start=1)
    return reloads_of((number, [key for key, _ in trip.parts]) for number, trip in numbered)
