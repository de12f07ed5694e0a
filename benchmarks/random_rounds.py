"""An invented office's planning problem from a seed: homes, crews, promises, loads. Not real data.

Surveys, fittings of one and two days, electrical visits before a fitting, call-backs; windows
agreed for part of them; two kinds of crew; vans of 12 m³ that reload; lunch breaks; overtime.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from random import Random

import numpy as np

from jobs.planning.plan import Plan
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
MONDAY = date(2026, 11, 30)
REACH_KM = 35.0
ROAD_FACTOR = 1.3
SPEED_KM_H = 45.0
SKILLS_OF_A_FITTING_CREW = frozenset({"fitting", "working with a raised deck"})


def working_days(count: int) -> tuple[date, ...]:
    """The first so many days from Monday on that are no weekend."""
    every = (MONDAY + timedelta(days=n) for n in range(count * 2 + 7))
    return tuple(day for day in every if day.weekday() < 5)[:count]


def day_starts_s(days: tuple[date, ...], index: int) -> int:
    """Seconds from the first midnight to that day's."""
    return (days[index] - days[0]).days * DAY_S


def random_problem(visits: int, crews: int, days: int, seed: int) -> PlanProblem:
    """An invented problem: the same for the same seed."""
    chance = Random(seed)
    dates = working_days(days)
    homes = [_point(chance) for _ in range(visits)]
    bases = [_point(chance, REACH_KM / 2) for _ in range(crews)]
    depots_at = [_point(chance, REACH_KM / 3) for _ in range(max(1, crews // 15))]
    points = homes + bases + depots_at
    names = (
        [f"home-{n}" for n in range(visits)]
        + [f"base-{n}" for n in range(crews)]
        + [f"depot-{n}" for n in range(len(depots_at))]
    )
    places = tuple(
        Place(name, name, 52.0 + y / 111.2, -1.5 + x / 68.5)
        for name, (x, y) in zip(names, points, strict=True)
    )
    depots = tuple(
        DepotToPlan(
            key=f"depot-{n}",
            place=f"depot-{n}",
            windows=tuple(
                Window(
                    day_starts_s(dates, d) + 6 * HOUR_S,
                    day_starts_s(dates, d) + 17 * HOUR_S,
                    whole=True,
                )
                for d in range(days)
            ),
            stock_by_day=tuple(
                {"roll": (visits * (6 + d)) // (2 * len(depots_at)) + 400} for d in range(days)
            ),
            reload_s=1200,
        )
        for n in range(len(depots_at))
    )
    return PlanProblem(
        starts_at=datetime(2026, 11, 30, tzinfo=UTC),
        days=dates,
        places=places,
        travel=_travel(points),
        visits=tuple(_visits(chance, visits, dates)),
        shifts=tuple(_shifts(chance, crews, dates, points, visits)),
        depots=depots,
    )


def _point(chance: Random, reach_km: float = REACH_KM) -> tuple[float, float]:
    """A place in a round region, denser towards three invented towns."""
    towns = ((-12.0, 8.0), (10.0, 14.0), (6.0, -15.0))
    x, y = towns[chance.randrange(3)] if chance.random() < 0.6 else (0.0, 0.0)
    return x + chance.gauss(0, reach_km / 4), y + chance.gauss(0, reach_km / 4)


def _travel(points: list[tuple[float, float]]) -> Travel:
    at = np.array(points)
    km = np.hypot(*(at[:, None, :] - at[None, :, :]).transpose(2, 0, 1)) * ROAD_FACTOR
    minutes = km / SPEED_KM_H * 60 + 3
    np.fill_diagonal(minutes, 0)
    return Travel(np.rint(minutes * 60).astype(int), np.rint(km * 1000).astype(int))


def _visits(chance: Random, count: int, days: tuple[date, ...]) -> list[VisitToPlan]:
    made: list[VisitToPlan] = []
    wires: list[str] = []
    kinds = ("survey", "fitting", "long", "wiring", "call-back")
    for n in range(count):
        kind = chance.choices(kinds, (35, 42, 3, 8, 12))[0]
        visit = _visit(chance, n, kind, days)
        if kind == "fitting" and wires and chance.random() < 0.5:
            visit = replace(visit, after=(After(wires.pop(0), HOUR_S),))
        if kind == "wiring":
            wires.append(visit.key)
        made.append(visit)
    return made


def _visit(chance: Random, n: int, kind: str, days: tuple[date, ...]) -> VisitToPlan:
    hours = {
        "survey": chance.choice((0.75, 1.0, 1.25)),
        "fitting": chance.choice((2.5, 3.0, 3.5, 4.0, 5.0, 6.0)),
        "long": 11.0,
        "wiring": chance.choice((1.0, 1.5, 2.0)),
        "call-back": chance.choice((1.0, 2.0)),
    }[kind]
    skills = {"survey": {"surveying"}, "wiring": {"electrical"}}.get(kind, {"fitting"})
    if kind == "fitting" and chance.random() < 0.15:
        skills = skills | {"working with a raised deck"}
    rolls = round(hours * 5) if kind in ("fitting", "long") else 2 if kind == "call-back" else 0
    due_day = chance.randrange(1, len(days) + 4)
    due_s = day_starts_s(days, due_day) + 18 * HOUR_S if due_day < len(days) else None
    return VisitToPlan(
        key=f"visit-{n}",
        label=f"{kind} at home {n}",
        place=f"home-{n}",
        service_s=int(hours * HOUR_S),
        windows=_windows(chance, days) if chance.random() < 0.3 else (),
        due_s=due_s,
        priority=chance.choices((1, 2, 3, 4, 5), (10, 20, 40, 20, 10))[0],
        skills=frozenset(skills),
        crew_size=2 if kind in ("fitting", "long") else 1,
        volume_m3=rolls * 0.3,
        stock={"roll": rolls} if rolls else {},
        parts_s=(int(5.5 * HOUR_S), int(5.5 * HOUR_S)) if kind == "long" else (),
    )


def _windows(chance: Random, days: tuple[date, ...]) -> tuple[Window, ...]:
    """One to three mornings or afternoons."""
    halves = chance.sample(range(2 * len(days)), chance.choice((1, 2, 3)))
    return tuple(
        Window(
            day_starts_s(days, half // 2) + (8 if half % 2 == 0 else 12) * HOUR_S,
            day_starts_s(days, half // 2) + (12 if half % 2 == 0 else 16) * HOUR_S,
        )
        for half in sorted(halves)
    )


def _shifts(
    chance: Random,
    crews: int,
    days: tuple[date, ...],
    points: list[tuple[float, float]],
    visits: int,
) -> list[Shift]:
    made: list[Shift] = []
    for crew in range(crews):
        surveys = crew % 6 == 5
        base = points[visits + crew]
        depots_at = points[visits + crews :]
        nearest = min(
            range(len(depots_at)),
            key=lambda n: (depots_at[n][0] - base[0]) ** 2 + (depots_at[n][1] - base[1]) ** 2,
        )
        skills = {"surveying"} if surveys else set(SKILLS_OF_A_FITTING_CREW)
        if not surveys and crew % 3 == 0:
            skills |= {"electrical"}
        if not surveys and crew % 4 == 1:
            skills |= {"surveying"}
        for day in range(len(days)):
            midnight_s = day_starts_s(days, day)
            if chance.random() < 0.03:
                continue
            made.append(
                Shift(
                    key=f"crew-{crew}:{days[day].isoformat()}",
                    crew=f"crew-{crew}",
                    crew_label=f"Crew {crew}",
                    day=day,
                    opens_s=midnight_s + 8 * HOUR_S,
                    closes_s=midnight_s + 16 * HOUR_S + 1800,
                    overtime_s=HOUR_S,
                    breaks=(
                        Break(midnight_s + int(11.5 * HOUR_S), midnight_s + 13 * HOUR_S, 1800),
                    ),
                    start_place=f"base-{crew}",
                    end_place=f"base-{crew}",
                    depot=None if surveys else f"depot-{nearest}",
                    van_volume_m3=None if surveys else 12.0,
                    skills=frozenset(skills),
                    crew_size=1 if surveys else 2,
                )
            )
    return made


def with_promises(problem: PlanProblem, plan: Plan) -> PlanProblem:
    """The same problem after everybody was told of that plan (visits of several parts too)."""
    stands = {
        stop.key: Promise(problem.shift(round_.shift).crew, stop.starts_s)
        for round_, stop in plan.placed()
        if stop.part == 0
    }
    visits = tuple(replace(visit, promised=stands.get(visit.key)) for visit in problem.visits)
    return remade(problem, visits=visits)


def without_crew(problem: PlanProblem, crew: str, day: int) -> PlanProblem:
    """The same problem with that crew ill on one day."""
    kept = tuple(s for s in problem.shifts if not (s.crew == crew and s.day == day))
    return remade(problem, shifts=kept)


def remade(
    problem: PlanProblem,
    *,
    visits: tuple[VisitToPlan, ...] | None = None,
    shifts: tuple[Shift, ...] | None = None,
) -> PlanProblem:
    """The problem with other visits or shifts."""
    return PlanProblem(
        starts_at=problem.starts_at,
        days=problem.days,
        places=problem.places,
        travel=problem.travel,
        visits=problem.visits if visits is None else visits,
        shifts=problem.shifts if shifts is None else shifts,
        depots=problem.depots,
        weights=problem.weights,
        now_s=problem.now_s,
        start_step_s=problem.start_step_s,
    )
