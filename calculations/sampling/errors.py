"""The error of this package."""

from __future__ import annotations


class SamplingError(ValueError):
    """An input that no plan, draw or limit exists for. Names the field and the remedy."""

    def __init__(self, field: str, message: str, remedy: str) -> None:
        super().__init__(f"{field}: {message} {remedy}")
        self.field = field
        self.message = message
        self.remedy = remedy


def require_whole(field: str, value: int, low: int, high: int | None = None) -> int:
    """`value` if it is a whole number from low to high; SamplingError otherwise."""
    if isinstance(value, bool) or not isinstance(value, int):
        raise SamplingError(field, f"is {value!r}.", "Give a whole number.")
    if value < low or (high is not None and value > high):
        upper = f" to {high}" if high is not None else " or more"
        raise SamplingError(field, f"is {value}.", f"Give a whole number, {low}{upper}.")
    return value


def require_share(field: str, value: float) -> float:
    """`value` if it lies strictly between 0 and 1; SamplingError otherwise."""
    if not 0 < value < 1:
        raise SamplingError(field, f"is {value!r}.", "Give a share between 0 and 1, such as 0.95.")
    return float(value)
