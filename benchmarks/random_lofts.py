"""Random lofts of a realistic mix, for benchmarks and property tests. Invented; from a seed.

Shapes: terraces and semis (rectangles), L- and T-shapes, hipped roofs, with a tank, chimney, hatch,
deck, existing wool, and measures that are not round, as a tape gives them.
"""

from __future__ import annotations

import random

from calculations.loft import (
    Condition,
    Loft,
    LoftArea,
    LoftError,
    Obstacle,
    ObstacleKind,
    Outline,
    Roof,
    RoofForm,
)


def random_loft(seed: int) -> Loft:
    """The loft of that seed: the same every time."""
    rng = random.Random(f"loft {seed}")
    while True:
        try:
            return _draw(rng)
        except LoftError:
            continue


def _draw(rng: random.Random) -> Loft:
    outline, eaves = _outline(rng)
    joists = {
        "joist_spacing_mm": rng.choice((400, 400, 400, 600, 600, 450, 375, rng.randint(330, 620))),
        "joist_depth_mm": rng.choice((75, 95, 100, 100, 100, 125, 147)),
        "joist_width_mm": rng.choice((38, 47, 50, 50)),
        "joist_direction_deg": rng.choice((90, 90, 90, 0)),
        "existing_depth_mm": rng.choice((0, 0, 0, 25, 50, 75, 100, 100)),
        "existing_condition": rng.choice((Condition.KEEP, Condition.KEEP, Condition.LEVEL)),
    }
    area = LoftArea("Main", outline, eaves_edges=eaves, **joists)  # type: ignore[arg-type]
    areas: tuple[LoftArea, ...] = (area,)
    if rng.random() < 0.2:
        areas += (_annex(rng, outline),)
    hipped = len(eaves) == len(outline)
    roof = Roof(
        form=RoofForm.HIPPED if hipped else RoofForm.DUO_PITCH,
        pitch_deg=rng.choice((22.5, 30, 35, 35, 40, 45)),
        rafter_depth_mm=rng.choice((75, 100, 100, 125, 150)),
    )
    return Loft(areas, _obstacles(rng, outline), roof=roof)


def _outline(rng: random.Random) -> tuple[Outline, tuple[int, ...]]:
    width, depth = rng.randint(4800, 10500), rng.randint(5200, 8600)
    kind = rng.choice(("plain", "plain", "plain", "hipped", "l", "t"))
    if kind in ("plain", "hipped"):
        box = ((0.0, 0.0), (float(width), 0.0), (float(width), float(depth)), (0.0, float(depth)))
        return box, (0, 1, 2, 3) if kind == "hipped" else (0, 2)
    out, wing = rng.randint(1500, 4000), rng.randint(2400, max(2500, width // 2))
    left = 0 if kind == "l" else rng.randint(800, max(900, width - wing - 800))
    right = left + wing
    points = [(0, 0), (width, 0), (width, depth), (right, depth), (right, depth + out)]
    points += [(left, depth + out)] if kind == "l" else [(left, depth + out), (left, depth)]
    points += [(0, depth)] if kind == "t" else []
    outline = tuple((float(x), float(y)) for x, y in points)
    return outline, (0, 2, 3) if kind == "l" else (0, 2, 3, 5, 6)


def _annex(rng: random.Random, outline: Outline) -> LoftArea:
    """A second area beside the first, with joists of its own."""
    right = max(x for x, _ in outline)
    width, depth = rng.randint(2000, 4000), rng.randint(2500, 5000)
    box = ((right, 0.0), (right + width, 0.0), (right + width, float(depth)), (right, float(depth)))
    return LoftArea("Annex", box, rng.choice((400, 600)), 100, 47, 90, eaves_edges=(0, 2))


def _obstacles(rng: random.Random, outline: Outline) -> tuple[Obstacle, ...]:
    width, depth = max(x for x, _ in outline), outline[2][1]
    kinds = [(ObstacleKind.HATCH, (560, 760), (560, 760), 1.0)]
    kinds += [(ObstacleKind.TANK, (600, 1250), (500, 900), 0.5)]
    kinds += [(ObstacleKind.CHIMNEY, (400, 1100), (400, 700), 0.5)]
    kinds += [(ObstacleKind.DECK, (1200, 2600), (1000, 2400), 0.25)]
    found: list[Obstacle] = []
    for kind, wide, deep, chance in kinds:
        if rng.random() > chance:
            continue
        w, d = rng.randint(*wide), rng.randint(*deep)
        x, y = rng.randint(700, int(width) - w - 700), rng.randint(700, int(depth) - d - 700)
        box = ((x, y), (x + w, y), (x + w, y + d), (x, y + d))
        outline_mm = tuple((float(a), float(b)) for a, b in box)
        beneath = None
        if kind is ObstacleKind.DECK:
            beneath = rng.choice((None, 250.0, 320.0))
        if any(o.polygon().intersects(Obstacle("?", kind, outline_mm).polygon()) for o in found):
            continue
        found.append(Obstacle(kind.value.capitalize(), kind, outline_mm, beneath))
    return tuple(found)
