"""Showing a refusal where it belongs: at its field, with all that was typed still there."""

from __future__ import annotations

from typing import Any

from jobs.errors import Refused


def show_refusal(form: Any, refusal: Refused, **renamed: str) -> None:
    """Put a refusal beside the form's field it names (`renamed`: its name there -> here)."""
    field = renamed.get(refusal.field, refusal.field)
    form.add_error(field if field in form.fields else None, str(refusal))
