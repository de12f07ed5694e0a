"""Showing a refusal where it belongs: at its field with all that was typed still there, or, of a
button without a form, above the page that comes next."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest

from jobs.errors import Refused


def show_refusal(form: Any, refusal: Refused, **renamed: str) -> None:
    """Put a refusal beside the form's field it names (`renamed`: its name there -> here)."""
    field = renamed.get(refusal.field, refusal.field)
    form.add_error(field if field in form.fields else None, str(refusal))


def tell(request: HttpRequest, act: Callable[[], str | None]) -> None:
    """Do it, and say on the next page what `act` gives to be said, or why it was refused."""
    try:
        said = act()
    except Refused as refusal:
        messages.error(request, str(refusal))
    else:
        if said:
            messages.success(request, said)
