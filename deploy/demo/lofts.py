"""Invented lofts of plausible geometry: rectangles, L and T shapes, a stairwell now and then."""

from __future__ import annotations

import random
from typing import Any

from calculations.loft import LoftError, loft_from_dict

Outline = list[list[float]]
MOST_TRIES = 40


def box(left: float, lower: float, length: float, width: float) -> Outline:
    return [
        [left, lower],
        [left + length, lower],
        [left + length, lower + width],
        [left, lower + width],
    ]


def invent_loft(chance: random.Random) -> dict[str, Any]:
    """A loft as `calculations.loft.loft_from_dict` reads it, and accepted by it."""
    for _ in range(MOST_TRIES):
        loft = _try_loft(chance)
        try:
            loft_from_dict(loft)
        except LoftError:
            continue
        return loft
    raise RuntimeError("no loft that can be was found; the ranges of the demo are wrong")


def _step(chance: random.Random, low: int, high: int, step: int = 50) -> float:
    return float(chance.randrange(low, high + 1, step))


def _try_loft(chance: random.Random) -> dict[str, Any]:
    length, width = _step(chance, 6000, 10500), _step(chance, 5000, 8000)
    joists = {
        "joist_spacing_mm": chance.choices((400.0, 600.0, 450.0), weights=(60, 30, 10))[0],
        "joist_depth_mm": chance.choice((75.0, 100.0, 100.0, 125.0)),
        "joist_width_mm": chance.choice((38.0, 47.0, 47.0)),
        "joist_direction_deg": 90.0,
        "existing_depth_mm": chance.choice((0.0, 25.0, 50.0, 75.0, 100.0, 100.0, 100.0, 150.0)),
        "existing_condition": chance.choices(("keep", "level", "remove"), weights=(70, 22, 8))[0],
        "existing_conductivity_w_mk": 0.044,
    }
    outline, eaves, extra = _shape(chance, length, width)
    areas = [{"name": "Main loft", "outline_mm": outline, "eaves_edges": eaves, **joists}]
    areas += [{**joists, **area} for area in extra]
    return {
        "areas": areas,
        "obstacles": _obstacles(chance, length, width),
        "fixtures": _fixtures(chance, length, width),
        "hazards": _hazards(chance),
        "roof": {
            "form": chance.choices(("duo_pitch", "hipped"), weights=(80, 20))[0],
            "pitch_deg": chance.choice((30.0, 35.0, 40.0, 42.5)),
            "rafter_depth_mm": chance.choice((75.0, 100.0, 125.0)),
            "span_m": round(width / 1000, 2),
            "underlay": chance.choice(("felt", "felt", "breather", "none")),
            "eaves_opening_mm": chance.choice((10.0, 10.0, 25.0, 0.0)),
            "ridge_opening_mm": chance.choice((0.0, 0.0, 5.0)),
        },
    }


def _shape(
    chance: random.Random, length: float, width: float
) -> tuple[Outline, list[int], list[dict[str, Any]]]:
    """Outline of the main area, its sides at the eaves, further areas."""
    kind = chance.choices(("rectangle", "l", "t", "two"), weights=(55, 20, 10, 15))[0]
    if kind == "rectangle":
        return box(0, 0, length, width), [0, 2], []
    wing = _step(chance, 2400, 3600)
    reach = _step(chance, 2000, 3200)
    if kind == "l":
        outline = [
            [0, 0], [length, 0], [length, width],
            [wing, width], [wing, width + reach], [0, width + reach],
        ]  # fmt: skip
        return outline, [0, 2, 3, 5], []
    left = round((length - wing) / 2, -1)
    if kind == "t":
        outline = [
            [0, 0], [length, 0], [length, width], [left + wing, width],
            [left + wing, width + reach], [left, width + reach], [left, width], [0, width],
        ]  # fmt: skip
        return outline, [0, 2, 3, 5, 6], []
    annex = {
        "name": "Over the porch",
        "outline_mm": box(length, 0, reach, wing),
        "eaves_edges": [0, 2],
        "joist_spacing_mm": 600.0,
        "joist_direction_deg": 90.0,
    }
    return box(0, 0, length, width), [0, 2], [annex]


def _obstacles(chance: random.Random, length: float, width: float) -> list[dict[str, Any]]:
    """Each in a strip of its own along the house, so that none lies on another."""
    third = length / 3
    places = [(i * third + 300, (i + 1) * third - 1500) for i in range(3)]
    chance.shuffle(places)
    found = [_obstacle(chance, "hatch", "Hatch", places[0], width, 760, 560)]
    if chance.random() < 0.5:
        found.append(_obstacle(chance, "tank", "Cold water tank", places[1], width, 1000, 700))
    if chance.random() < 0.45:
        found.append(_obstacle(chance, "chimney", "Chimney", places[2], width, 900, 500))
    elif chance.random() < 0.3:
        deck = _obstacle(chance, "deck", "Raised deck", places[2], width, 1200, 1200)
        found.append(deck | {"underside_mm": chance.choice((300.0, 380.0, None))})
    return found


def _obstacle(
    chance: random.Random,
    kind: str,
    name: str,
    span: tuple[float, float],
    width: float,
    long: float,
    wide: float,
) -> dict[str, Any]:
    left = round(chance.uniform(*span), -1)
    lower = round(chance.uniform(width * 0.35, width * 0.65 - wide / 2), -1)
    return {"name": name, "kind": kind, "outline_mm": box(left, lower, long, wide)}


def _fixtures(chance: random.Random, length: float, width: float) -> list[dict[str, Any]]:
    def spot() -> tuple[float, float]:
        return (
            round(chance.uniform(700, length - 700), -1),
            round(chance.uniform(700, width - 700), -1),
        )

    found: list[dict[str, Any]] = []
    for number in range(chance.choice((0, 0, 0, 2, 3, 4, 6))):
        x, y = spot()
        found.append({"name": f"Downlight {number + 1}", "kind": "downlight", "x_mm": x, "y_mm": y})
    if chance.random() < 0.45:
        (x, y), (to_x, to_y) = spot(), spot()
        found.append(
            {
                "name": "Shower cable",
                "kind": "cable",
                "x_mm": x,
                "y_mm": y,
                "to_x_mm": to_x,
                "to_y_mm": to_y,
                "load_w": chance.choice((7500.0, 8500.0, 9500.0)),
                "conductor_mm2": chance.choice((6.0, 10.0)),
                "high_load": True,
            }
        )
    if chance.random() < 0.4:
        x, y = spot()
        found.append({"name": "Bathroom fan", "kind": "fan", "x_mm": x, "y_mm": y})
    return found


def _hazards(chance: random.Random) -> list[dict[str, Any]]:
    kinds = (
        ("bats_or_birds", "Droppings near the gable: ask before work."),
        ("wet_timber", "Damp patch on a rafter by the chimney."),
        ("damaged_wiring", "Perished sheath on the lighting cable."),
        ("fragile_ceiling", "Lath and plaster below."),
    )
    return [{"kind": kind, "note": note} for kind, note in kinds if chance.random() < 0.035]
