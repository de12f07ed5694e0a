"""Results as plain values, so that a service can keep them in a JSON column."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from enum import Enum

Plain = str | int | float | bool | None | list["Plain"] | dict[str, "Plain"]


def to_plain(value: object) -> Plain:
    """`value` as str, int, float, bool, None, list and dict only.

    Dataclasses become dicts by field name, enums their value, tuples lists. JSON has no
    word for "not a number" or infinity: both become None.

    Raises TypeError for anything that has no plain form.
    """
    if isinstance(value, Enum):
        return to_plain(value.value)
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: to_plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): to_plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [to_plain(item) for item in value]
    raise TypeError(f"{type(value).__name__} has no plain form; convert it before storing.")


def plain_dict(value: object) -> dict[str, Plain]:
    """`to_plain` of a dataclass, typed as the dict that it is."""
    plain = to_plain(value)
    if not isinstance(plain, dict):
        raise TypeError(f"{type(value).__name__} is not a record; pass a dataclass.")
    return plain
