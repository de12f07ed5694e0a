"""Checks on numbers that come in from outside, and the error they raise."""

from __future__ import annotations

import math


class InputError(ValueError):
    """A number that cannot be used. Says which (`field`), what is wrong and the remedy."""

    def __init__(self, field: str, message: str, remedy: str) -> None:
        super().__init__(f"{field}: {message} {remedy}")
        self.field = field
        self.message = message
        self.remedy = remedy


def require_between(field: str, value: float, low: float, high: float, unit: str) -> float:
    """Return `value` if it is a finite number in [low, high] `unit`; raise InputError if not."""
    if not math.isfinite(value) or not low <= value <= high:
        raise InputError(
            field,
            f"is {value:g} {unit}, which cannot be used.",
            f"Give a number from {low:g} to {high:g} {unit}.",
        )
    return value
