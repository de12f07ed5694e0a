"""Days and times of every form in the form that a browser's own inputs read.

WHATWG HTML, "The input element", "Date state" and "Time state": the value of `type=date` is a
valid date string (YYYY-MM-DD), that of `type=time` a valid time string (HH:MM); any other is
sanitised to the empty string, so that a stored day would show as none.
"""

from __future__ import annotations

import importlib
from collections.abc import Iterator
from datetime import date, time

import pytest
from django import forms
from django.conf import settings
from django.utils import translation

SHOWN: dict[type[forms.Field], tuple[object, str]] = {
    forms.DateField: (date(2027, 3, 4), 'type="date" name="it" value="2027-03-04"'),
    forms.TimeField: (time(8, 5), 'type="time" name="it" value="08:05"'),
}


def forms_below(kind: type) -> Iterator[type]:
    for below in kind.__subclasses__():
        yield below
        yield from forms_below(below)


def inputs() -> dict[str, tuple[str, str]]:
    """By the name of each day and time of our forms: as a stored one is drawn, and as it should be.

    The forms are those that the addresses of the service bring with them.
    """
    importlib.import_module(settings.ROOT_URLCONF)
    return {
        f"{form.__name__}.{name}": (str(field.widget.render("it", stored)), shown)
        for form in set(forms_below(forms.BaseForm))
        if form.__module__.startswith(("jobs.", "compliance."))
        for name, field in form.base_fields.items()
        for kind, (stored, shown) in SHOWN.items()
        if isinstance(field, kind)
    }


@pytest.mark.parametrize("language", ["en-gb", "de"])
def test_what_is_stored_is_shown_by_every_form(language):
    with translation.override(language):
        drawn = inputs()
    assert len(drawn) > 25
    wrong = {name: got for name, (got, shown) in drawn.items() if shown not in got}
    assert wrong == {}
