"""Showing a refusal where it belongs: at its field with all that was typed still there, or, of a
button without a form, above the page that comes next.

Nothing that was typed is lost: a view that takes words asks `tried`, and shows its page again with
`put_back` where it was refused, also when the page has no such form any more.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.http import HttpRequest

from jobs.errors import Refused

REFUSED = HTTPStatus.UNPROCESSABLE_ENTITY
"""The status of a page that shows a form again because it was refused."""


def show_refusal(form: Any, refusal: Refused, **renamed: str) -> None:
    """Put a refusal beside the form's field it names (`renamed`: its name there -> here)."""
    field = renamed.get(refusal.field, refusal.field)
    form.add_error(field if field in form.fields else None, str(refusal))


def tried(
    request: HttpRequest,
    form: Any,
    act: Callable[[Mapping[str, Any]], str | None],
    **renamed: str,
) -> bool:
    """Do what a form asks for with what it was given, and say on the next page what came of it.

    Returns False where the form does not hold or `act` refuses: the form says why then.
    """
    if not form.is_valid():
        return False
    try:
        said = act(form.cleaned_data)
    except Refused as refusal:
        show_refusal(form, refusal, **renamed)
        return False
    if said:
        messages.success(request, said)
    return True


def put_back(context: dict[str, Any], **refused: Any) -> dict[str, Any]:
    """A page's context with a refused form in the place of its own, under the same name.

    Where things have moved on and the page offers the form no more, the refusal and what was
    typed stand at its top, to be read and copied.
    """
    for name, form in refused.items():
        context[name if context.get(name) is not None else "left_over"] = form
    return context


def words_of(form: Any) -> list[tuple[Any, str]]:
    """The visible fields of a bound form that were filled in, each with what was given."""
    return [(bound, _told(bound)) for bound in form.visible_fields() if bound.value()]


def _told(bound: Any) -> str:
    """A value as the person saw it: a choice by its words."""
    given = bound.value()
    labels = {str(code): str(label) for code, label in getattr(bound.field, "choices", ())}
    values = given if isinstance(given, list) else [given]
    return ", ".join(labels.get(str(value), str(value)) for value in values)


def tell(request: HttpRequest, act: Callable[[], str | None]) -> None:
    """Do it, and say on the next page what `act` gives to be said, or why it was refused."""
    try:
        said = act()
    except Refused as refusal:
        messages.error(request, str(refusal))
    else:
        if said:
            messages.success(request, said)
