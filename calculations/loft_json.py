"""A loft to and from JSON-like data. Keys are the field names; unknown keys are refused."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import MISSING, fields
from enum import StrEnum
from functools import partial
from typing import TypeVar, cast

from calculations.loft import (
    Condition,
    Fixture,
    FixtureKind,
    Hazard,
    HazardKind,
    Loft,
    LoftArea,
    Obstacle,
    ObstacleKind,
    Roof,
    RoofForm,
    Underlay,
)
from calculations.outlines import LoftError

Made = TypeVar("Made")

ENUMS: dict[tuple[type, str], type[StrEnum]] = {
    (LoftArea, "existing_condition"): Condition,
    (Obstacle, "kind"): ObstacleKind,
    (Fixture, "kind"): FixtureKind,
    (Hazard, "kind"): HazardKind,
    (Roof, "form"): RoofForm,
    (Roof, "underlay"): Underlay,
}


def read_loft(data: Mapping[str, object]) -> Loft:
    """The loft described by `data`. Raises LoftError naming the path and the remedy."""
    values = _checked_keys(Loft, data)
    parts: dict[str, object] = {
        "areas": _read_each(values, "areas", LoftArea),
        "obstacles": _read_each(values, "obstacles", Obstacle),
        "fixtures": _read_each(values, "fixtures", Fixture),
        "hazards": _read_each(values, "hazards", Hazard),
    }
    if values.get("roof") is not None:
        parts["roof"] = _within("roof", partial(_make, Roof, values["roof"]))
    return Loft(**parts)  # type: ignore[arg-type]


def _read_each(values: Mapping[str, object], key: str, made: type[Made]) -> tuple[Made, ...]:
    listed = values.get(key, [])
    if isinstance(listed, str | Mapping) or not hasattr(listed, "__iter__"):
        raise LoftError(key, "is not a list.", "Give a list, empty when there is none.")
    items = cast("list[object]", listed)
    return tuple(_within(f"{key}[{i}]", partial(_make, made, item)) for i, item in enumerate(items))


def _within(prefix: str, make: Callable[[], Made]) -> Made:
    try:
        return make()
    except LoftError as error:
        raise error.within(prefix) from None


def _make(made: type[Made], item: object) -> Made:
    values = _checked_keys(made, item)
    for key in values:
        values[key] = _read_value(made, key, values[key])
    return made(**values)


def _checked_keys(made: type, item: object) -> dict[str, object]:
    if not isinstance(item, Mapping):
        raise LoftError("", f"{item!r} is not an object.", "Give field names with their values.")
    known = {field.name: field for field in fields(made)}
    for key in item:
        if key not in known:
            raise LoftError(
                str(key), "is not a field here.", f"Known fields: {', '.join(sorted(known))}."
            )
    for name, field in known.items():
        required = field.default is MISSING and field.default_factory is MISSING
        if required and item.get(name) is None:
            raise LoftError(name, "is missing.", "Fill it in.")
    return dict(item)


def _read_value(made: type, key: str, value: object) -> object:
    enum = ENUMS.get((made, key))
    if enum is not None:
        try:
            return enum(str(value))
        except ValueError:
            choices = ", ".join(member.value for member in enum)
            raise LoftError(key, f"{value!r} is not known.", f"Choose one of: {choices}.") from None
    if key in ("note", "name") and not isinstance(value, str):
        raise LoftError(key, f"{value!r} is not text.", "Give text.")
    if key == "high_load" and not isinstance(value, bool):
        raise LoftError(key, f"{value!r} is not yes or no.", "Give true or false.")
    if key in ("holes_mm", "eaves_edges") and not isinstance(value, list | tuple):
        raise LoftError(key, "is not a list.", "Give a list, empty when there is none.")
    return value


def loft_to_dict(loft: Loft) -> dict[str, object]:
    """JSON-able form of a loft; every field is present, so that a stored loft explains itself."""
    return {
        "areas": [_to_dict(area) for area in loft.areas],
        "obstacles": [_to_dict(obstacle) for obstacle in loft.obstacles],
        "fixtures": [_to_dict(fixture) for fixture in loft.fixtures],
        "hazards": [_to_dict(hazard) for hazard in loft.hazards],
        "roof": _to_dict(loft.roof),
    }


def _to_dict(item: object) -> dict[str, object]:
    return {field.name: _plain(getattr(item, field.name)) for field in fields(item)}  # type: ignore[arg-type]


def _plain(value: object) -> object:
    if isinstance(value, StrEnum):
        return value.value
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    return value
