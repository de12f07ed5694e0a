"""Days and clock times of forms, as a browser's own inputs want them.

An input of type `date` or `time` shows nothing for a value it cannot read, and it reads ISO 8601
alone, whatever the language of the page (HTML, "Date state" and "Time state" of `input`).
"""

from __future__ import annotations

from typing import Any

from django import forms


class DayInput(forms.DateInput):
    input_type = "date"

    def __init__(self, attrs: dict[str, Any] | None = None) -> None:
        super().__init__(attrs, format="%Y-%m-%d")


class ClockInput(forms.TimeInput):
    input_type = "time"

    def __init__(self, attrs: dict[str, Any] | None = None) -> None:
        super().__init__(attrs, format="%H:%M")


def day_field(**given: Any) -> forms.DateField:
    """A day; what is given goes to the field."""
    return forms.DateField(widget=DayInput(), **given)


def clock_field(**given: Any) -> forms.TimeField:
    """A time of day; what is given goes to the field."""
    return forms.TimeField(widget=ClockInput(), **given)
