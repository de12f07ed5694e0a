"""What is wrong with a planning problem or a plan, where, and what to do about it."""

from __future__ import annotations


class PlanProblemError(ValueError):
    """A planning problem that says something impossible or contradicts itself.

    Attributes: `key` (the visit, shift, depot or place that is wrong), `field` (which of its
    values), `message` (what is wrong), `remedy` (what to do).
    """

    def __init__(self, key: str, field: str, message: str, remedy: str) -> None:
        super().__init__(f"{key}, {field}: {message} {remedy}".strip())
        self.key = key
        self.field = field
        self.message = message
        self.remedy = remedy


class NotInPlan(KeyError):
    """A key that the problem or the plan does not know; says which kind of thing was asked for."""

    def __init__(self, kind: str, key: str) -> None:
        super().__init__(key)
        self.kind = kind
        self.key = key

    def __str__(self) -> str:
        return f"There is no {self.kind} {self.key!r} here. Use a key of the problem being planned."


def require(condition: bool, key: str, field: str, message: str, remedy: str) -> None:
    """Raise `PlanProblemError` unless the condition holds."""
    if not condition:
        raise PlanProblemError(key, field, message, remedy)
