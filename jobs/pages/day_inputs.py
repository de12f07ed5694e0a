"""Days and clock times of forms, as a browser's own inputs want them.

An input of type `date` or `time` shows nothing for a value it cannot read, and it reads ISO 8601
alone, whatever the language of the page (HTML, "Date state" and "Time state" of `input`).
"""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator

NO_SUCH_YEAR = "Give a day between the years 1900 and 2199."
IN_OUR_TIMES = (
    MinValueValidator(date(1900, 1, 1), NO_SUCH_YEAR),
    MaxValueValidator(date(2199, 12, 31), NO_SUCH_YEAR),
)
"""A slip of the keyboard such as 20260; and days are reckoned on from what is given."""


class DayInput(forms.DateInput):
    input_type = "date"

    def __init__(self, attrs: dict[str, Any] | None = None) -> None:
        super().__init__(attrs, format="%Y-%m-%d")


class ClockInput(forms.TimeInput):
    input_type = "time"

    def __init__(self, attrs: dict[str, Any] | None = None) -> None:
        super().__init__(attrs, format="%H:%M")


def day_field(**given: Any) -> forms.DateField:
    """A day of our times; what is given goes to the field."""
    return forms.DateField(widget=DayInput(), validators=IN_OUR_TIMES, **given)


def clock_field(**given: Any) -> forms.TimeField:
    """A time of day; what is given goes to the field."""
    return forms.TimeField(widget=ClockInput(), **given)
