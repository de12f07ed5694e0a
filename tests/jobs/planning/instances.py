"""Small planning problems: one by hand that a reader can follow, and any that hypothesis likes."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import numpy as np
from hypothesis import strategies as st

from jobs.planning.problem import (
    After,
    Break,
    DepotToPlan,
    Place,
    PlanProblem,
    Promise,
    Shift,
    Travel,
    VisitToPlan,
    Window,
)

HOUR_S = 3600
DAY_S = 24 * HOUR_S
MINUTE_S = 60
DAYS = (date(2026, 11, 30), date(2026, 12, 1), date(2026, 12, 2))
SKILLS = ("surveying", "electrical")


def at(day: int, hour: float) -> int:
    """Seconds of an hour on a day, counted from the first midnight."""
    return day * DAY_S + round(hour * HOUR_S)


def line_travel(positions_min: list[int]) -> Travel:
    """Places along one road: so many minutes between them, a kilometre a minute."""
    minutes = np.abs(np.subtract.outer(positions_min, positions_min))
    return Travel(minutes * MINUTE_S, minutes * 1000)


def shift(crew: str, day: int, **changes: Any) -> Shift:
    """A crew's day from 8 to 16 from and to its base."""
    plain = Shift(
        key=f"{crew}:{day}",
        crew=crew,
        crew_label=crew.title(),
        day=day,
        opens_s=at(day, 8),
        closes_s=at(day, 16),
        start_place="base",
        end_place="base",
        crew_size=2,
    )
    return replace(plain, **changes)


def visit(key: str, hours: float = 1.0, **changes: Any) -> VisitToPlan:
    """A visit at the home of the same name."""
    return replace(VisitToPlan(key, f"home-{key}", round(hours * HOUR_S), label=key), **changes)


def problem(
    visits: list[VisitToPlan],
    shifts: list[Shift],
    *,
    positions_min: list[int] | None = None,
    depots: tuple[DepotToPlan, ...] = (),
    **changes: Any,
) -> PlanProblem:
    """A problem on one road: base and depot at 0, the homes where `positions_min` says."""
    positions = positions_min or [10 * (n + 1) for n in range(len(visits))]
    places = [Place("base"), Place("depot"), *(Place(v.place) for v in visits)]
    return PlanProblem(
        starts_at=datetime(2026, 11, 30, tzinfo=UTC),
        days=DAYS,
        places=tuple(places),
        travel=changes.pop("travel", line_travel([0, 0, *positions])),
        visits=tuple(visits),
        shifts=tuple(shifts),
        depots=depots,
        **changes,
    )


def remade(given: PlanProblem, **changes: Any) -> PlanProblem:
    """The problem with some of its parts replaced."""
    names = ("starts_at", "days", "places", "travel", "visits", "shifts", "depots", "weights")
    kept = {name: getattr(given, name) for name in (*names, "now_s", "start_step_s")}
    return PlanProblem(**{**kept, **changes})


def with_visit(given: PlanProblem, key: str, **changes: Any) -> PlanProblem:
    """The problem with one visit changed."""
    visits = [replace(v, **changes) if v.key == key else v for v in given.visits]
    return remade(given, visits=tuple(visits))


def furnished() -> PlanProblem:
    """Two crews, three days, and something of everything that a plan must keep to."""
    rest = [Break(at(d, 11.5), at(d, 13), 1800) for d in range(3)]
    shifts = [
        shift("north", d, breaks=(rest[d],), depot="depot", van_volume_m3=6.0, overtime_s=HOUR_S)
        for d in range(3)
    ]
    shifts += [
        shift("south", d, breaks=(rest[d],), skills=frozenset({"surveying", "electrical"}))
        for d in range(3)
    ]
    visits = [
        visit("a", 2, volume_m3=4.0, stock={"roll": 8}, fixed_crew="north"),
        visit("b", 2, volume_m3=4.0, stock={"roll": 8}, fixed_crew="north"),
        visit("c", 1, skills=frozenset({"surveying"}), windows=(Window(at(0, 13), at(0, 15)),)),
        visit("d", 3, after=(After("c", HOUR_S),), windows=(Window(at(1, 8), at(1, 12), True),)),
        visit("e", 7, parts_s=(4 * HOUR_S, 3 * HOUR_S), barred_crews=frozenset({"north"})),
        visit("f", 1, promised=Promise("south", at(2, 10)), fixed=True),
        visit("g", 1, earliest_s=at(1, 9), crew_size=2, required=True),
        visit("h", 2, due_s=at(0, 12), priority=5, promised=Promise("north", at(0, 8.5))),
    ]
    opening = tuple(Window(at(d, 7), at(d, 15), True) for d in range(3))
    stock = ({"roll": 10}, {"roll": 20}, {"roll": 20})
    depots = (DepotToPlan("depot", "depot", windows=opening, stock_by_day=stock, reload_s=900),)
    return problem(visits, shifts, depots=depots)


@st.composite
def problems(draw: st.DrawFn, most_visits: int = 9) -> PlanProblem:
    """Any small problem: asymmetric ways, windows, loads, stock, parts, orders, promises, a now."""
    crews = [f"crew{n}" for n in range(draw(st.integers(1, 3)))]
    days = draw(st.integers(1, 3))
    depot = draw(_depots())
    shifts = [
        draw(_shifts(crew, day, depot))
        for crew in crews
        for day in range(days)
        if day == 0 or draw(st.booleans())
    ]
    count = draw(st.integers(1, most_visits))
    visits: list[VisitToPlan] = []
    for number in range(count):
        visits.append(draw(_visits(f"v{number}", crews, days, [v.key for v in visits])))
    size = count + 2
    seconds = draw(_matrix(size))
    return problem(
        _without_clashes(visits),
        shifts,
        depots=(depot,),
        travel=Travel(seconds, seconds * 12),
        now_s=draw(st.sampled_from((0, 0, at(0, 10), at(0, 13.5)))),
        start_step_s=draw(st.sampled_from((1, 300, 900))),
    )


@st.composite
def _matrix(draw: st.DrawFn, size: int) -> np.ndarray:
    seed = draw(st.integers(0, 10_000))
    found = np.random.default_rng(seed).integers(0, 45 * MINUTE_S, (size, size))
    np.fill_diagonal(found, 0)
    return found


@st.composite
def _depots(draw: st.DrawFn) -> DepotToPlan:
    closes = draw(st.sampled_from((12, 15, 17)))
    first = draw(st.integers(0, 20))
    stock = tuple({"roll": first + 6 * day} for day in range(3)) if draw(st.booleans()) else ()
    windows = tuple(Window(at(d, draw(st.sampled_from((7, 9)))), at(d, closes)) for d in range(3))
    return DepotToPlan(
        "depot",
        "depot",
        windows=windows if draw(st.booleans()) else (),
        stock_by_day=stock,
        reload_s=draw(st.sampled_from((0, 900))),
    )


@st.composite
def _shifts(draw: st.DrawFn, crew: str, day: int, depot: DepotToPlan) -> Shift:
    loads = draw(st.booleans())
    rests = draw(st.sampled_from((0, 0, 1, 2)))
    breaks = [Break(at(day, 11.5), at(day, 13), 1800, within_visit=draw(st.booleans()))]
    breaks.append(Break(at(day, 14), at(day, 14), HOUR_S, "Away", within_visit=False))
    return shift(
        crew,
        day,
        overtime_s=draw(st.sampled_from((0, HOUR_S))),
        breaks=tuple(breaks[:rests]),
        depot=depot.key if loads else None,
        start_place=draw(st.sampled_from(("base", "depot"))),
        van_volume_m3=draw(st.sampled_from((None, 4.0, 8.0))),
        skills=frozenset(draw(st.sets(st.sampled_from(SKILLS)))),
        crew_size=draw(st.integers(1, 2)),
    )


@st.composite
def _visits(
    draw: st.DrawFn, key: str, crews: list[str], days: int, earlier: list[str]
) -> VisitToPlan:
    length_s = draw(st.integers(1, 40)) * 600
    parted = draw(st.integers(0, 7)) == 0
    fixed = not parted and draw(st.integers(0, 6)) == 0
    promised = fixed or draw(st.integers(0, 3)) == 0
    crew = draw(st.sampled_from(crews))
    day = draw(st.integers(0, days - 1))
    start_s = at(day, 8) + draw(st.integers(0, 28)) * 900
    opens_s = at(draw(st.integers(0, 2)), draw(st.integers(7, 14)))
    after = draw(st.sampled_from(earlier)) if earlier and draw(st.integers(0, 3)) == 0 else None
    chosen = draw(st.sampled_from((None, None, None, crew)))
    return visit(
        key,
        length_s / HOUR_S,
        windows=(Window(opens_s, opens_s + 4 * HOUR_S, draw(st.booleans())),)
        if draw(st.integers(0, 2)) == 0
        else (),
        earliest_s=draw(st.sampled_from((0, 0, at(1, 9)))),
        due_s=draw(st.sampled_from((None, at(0, 17), at(1, 12)))),
        priority=draw(st.integers(1, 5)),
        skills=frozenset(draw(st.sets(st.sampled_from(SKILLS), max_size=1))),
        crew_size=draw(st.sampled_from((1, 1, 2))),
        volume_m3=draw(st.sampled_from((0.0, 1.5, 3.0))),
        stock=draw(st.sampled_from(({}, {"roll": 3}, {"roll": 7}))),
        goods_ready_s=draw(st.sampled_from((0, 0, at(0, 10)))),
        fixed_crew=chosen,
        preferred_crews=frozenset({draw(st.sampled_from(crews))}),
        barred_crews=frozenset({draw(st.sampled_from(crews))} - {chosen})
        if draw(st.integers(0, 4)) == 0
        else frozenset(),
        after=(After(after, draw(st.sampled_from((0, HOUR_S)))),) if after else (),
        parts_s=(length_s // 2, length_s - length_s // 2) if parted else (),
        promised=Promise(crew, start_s, draw(st.booleans())) if promised else None,
        fixed=fixed,
        required=draw(st.integers(0, 9)) == 0,
    )


def _without_clashes(visits: list[VisitToPlan]) -> list[VisitToPlan]:
    """Fixed visits of a crew that would overlap are free instead: a board never holds those."""
    taken: list[tuple[str, int, int]] = []
    found = []
    for one in visits:
        if one.fixed and one.promised:
            span = (one.promised.starts_s, one.promised.starts_s + one.service_s)
            clash = any(
                crew == one.promised.crew and span[0] < end and start < span[1]
                for crew, start, end in taken
            )
            taken.append((one.promised.crew, *span))
            one = replace(one, fixed=False) if clash else one
        found.append(one)
    return found
