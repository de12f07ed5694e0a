"""Lofts of any shape, turned at any angle, with things across each other, stay sound."""

from __future__ import annotations

import math
import random

from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon, union_all

from calculations.loft import (
    Condition,
    Loft,
    LoftArea,
    LoftError,
    Obstacle,
    ObstacleKind,
    Outline,
    Roof,
    net_polygon,
)
from calculations.quantities import quantify
from calculations.stacks import Target


def odd_loft(seed: int) -> Loft:
    """A star-shaped floor with turned obstacles that may lie across each other."""
    rng = random.Random(f"odd {seed}")
    while True:
        try:
            return _draw(rng)
        except LoftError:
            continue


def _draw(rng: random.Random) -> Loft:
    corners = rng.randint(3, 9)
    angles = sorted(rng.uniform(0, 2 * math.pi) for _ in range(corners))
    reach = [rng.uniform(1500, 7000) for _ in angles]
    outline = tuple((r * math.cos(a), r * math.sin(a)) for r, a in zip(reach, angles, strict=True))
    area = LoftArea(
        "Main",
        outline,
        rng.uniform(250, 900),
        rng.uniform(40, 250),
        rng.uniform(30, 90),
        rng.choice((0, 90, 45, rng.uniform(0, 179))),
        rng.choice((0.0, 0.0, rng.uniform(0, 350))),
        rng.choice(tuple(Condition)),
        holes_mm=(_turned_box(rng, 300, 600),) if rng.random() < 0.2 else (),
        eaves_edges=tuple(i for i in range(corners) if rng.random() < 0.5),
    )
    obstacles = tuple(
        Obstacle(f"Thing {i}", rng.choice(tuple(ObstacleKind)), _turned_box(rng, 60, 2000))
        for i in range(rng.randint(0, 4))
    )
    roof = Roof(pitch_deg=rng.uniform(6, 70), rafter_depth_mm=rng.uniform(45, 250))
    return Loft((area,), obstacles, roof=roof)


def _turned_box(rng: random.Random, least: float, most: float) -> Outline:
    x, y, turn = rng.uniform(-2500, 2500), rng.uniform(-2500, 2500), rng.uniform(0, math.pi)
    w, h = rng.uniform(least, most), rng.uniform(least, most)
    return tuple(
        (x + u * math.cos(turn) - v * math.sin(turn), y + u * math.sin(turn) + v * math.cos(turn))
        for u, v in ((0, 0), (w, 0), (w, h), (0, h))
    )


@given(seed=st.integers(0, 100_000), depth=st.integers(100, 500))
@settings(max_examples=60, deadline=None)
def test_strips_of_a_layer_lie_side_by_side_on_the_floor(seed: int, depth: float) -> None:
    loft = odd_loft(seed)
    found = quantify(loft, Target(depth_mm=depth), seconds=0)
    floor = net_polygon(loft, loft.areas[0]).buffer(1.0)
    for number in {strip.layer for strip in found.strips}:
        laid = [Polygon(s.outline_mm) for s in found.strips if s.layer == number]
        assert all(shape.is_valid for shape in laid)
        within = [shape.buffer(-0.2) for shape in laid]
        assert sum(shape.area for shape in within) - union_all(within).area < 200
        assert all(floor.covers(shape) for shape in within)
    for roll in found.rolls:
        assert roll.lower_bound <= roll.count
        assert roll.waste_m2 >= 0


def test_the_same_loft_gives_the_same_quantities() -> None:
    for seed in range(5):
        first, second = (
            quantify(odd_loft(seed), Target(depth_mm=270), seconds=0) for _ in range(2)
        )
        assert first == second
