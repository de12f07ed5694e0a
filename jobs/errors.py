"""Refusals: what is wrong, where, and what to do about it, in words for a person."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from types import MappingProxyType
from typing import Any

from django.apps import apps
from django.core.exceptions import ValidationError
from django.db import IntegrityError, InternalError, ProgrammingError, transaction

RAISED_BY_A_TRIGGER = "P0001"


class Refused(Exception):
    """A request that cannot be carried out. Nothing was changed.

    Attributes: `field` (which input, empty for the whole), `message` (what is wrong),
    `remedy` (what to do), `status` (the HTTP status it becomes at the edge), `members` (what an
    integration is told besides, as members of the problem document).
    """

    status = 400
    members: Mapping[str, Any] = MappingProxyType({})

    def __init__(self, message: str, *, field: str = "", remedy: str = "") -> None:
        super().__init__(" ".join(part for part in (message, remedy) if part))
        self.field = field
        self.message = message
        self.remedy = remedy


class Conflict(Refused):
    """The request collides with what is already stored, such as a booked crew."""

    status = 409


class Stale(Conflict):
    """Somebody else changed the record since it was read."""

    status = 412

    def __init__(self, what: str = "This record") -> None:
        super().__init__(
            f"{what} was changed by someone else since you opened it.",
            remedy="Open it again, look at the change, and repeat yours if it still applies.",
        )


def _constraint_messages() -> dict[str, tuple[str, str]]:
    """Constraint name -> (field, sentence) of every constraint our models declare."""
    found: dict[str, tuple[str, str]] = {}
    for model in apps.get_models():
        for constraint in model._meta.constraints:
            message = str(constraint.violation_error_message or "")
            field, colon, rest = message.partition(": ")
            named = bool(colon) and field.isidentifier()
            found[constraint.name] = (field if named else "", rest if named else message)
    return found


def explain(error: Exception) -> Refused:
    """The sentence a person needs for a refusal by the database."""
    diagnosis: Any = getattr(error.__cause__, "diag", None)
    name = getattr(diagnosis, "constraint_name", None) or ""
    field, message = _constraint_messages().get(name, ("", ""))
    if not message:
        message = getattr(diagnosis, "message_primary", None) or str(error)
    return Conflict(message[:1].upper() + message[1:], field=field)


@contextmanager
def refusals_explained() -> Iterator[None]:
    """A transaction (or savepoint) whose refusals by the database become `Refused`."""
    try:
        with transaction.atomic():
            yield
    except (IntegrityError, InternalError) as error:
        raise explain(error) from error
    except ProgrammingError as error:
        if getattr(error.__cause__, "sqlstate", None) != RAISED_BY_A_TRIGGER:
            raise
        raise explain(error) from error


def refuse_invalid(instance: Any) -> None:
    """`full_clean` without constraints (the database holds those), as `Refused`."""
    try:
        instance.full_clean(validate_unique=False, validate_constraints=False)
    except ValidationError as error:
        field, messages = next(iter(error.message_dict.items()))
        raise Refused(" ".join(messages), field="" if field == "__all__" else field) from error
