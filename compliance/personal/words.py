"""Words that were written freely, which an erasure blanks or replaces by a mark."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.apps import apps
from django.db.models import Model, Q, QuerySet

from jobs.models import AgreedWindow, Job, Survey, Visit, VisitNeed
from jobs.models.phone_records import ERASED

# What can be edited and is no fact: the table, and its columns of free words.
EDITED: tuple[tuple[Any, tuple[str, ...]], ...] = (
    (Job, ("called_off_reason",)),
    (Survey, ("access_note", "note")),
    (VisitNeed, ("note",)),
    (AgreedWindow, ("note",)),
    (Visit, ("note", "stop_reason")),
)
_OF_JOB = {Job: "id", AgreedWindow: "need__job"}


def of_job(model: type[Model], job: Any) -> dict[str, Any]:
    """The filter for the rows of a job, and for their history."""
    return {_OF_JOB.get(model, "job"): job}


def history_of(model: type[Model]) -> Any:
    return apps.get_model("jobs", f"{model.__name__}Event")


def words_left(model: Any, *columns: str) -> QuerySet[Any]:
    """Rows in which words stand that were not erased."""
    left = Q()
    for column in columns:
        left |= ~Q(**{f"{column}__in": ["", ERASED]})
    return model._base_manager.filter(left)


def words_items(
    model: type[Model], where: dict[str, Any], columns: Sequence[str]
) -> dict[str, dict[str, list[str]]]:
    """Table -> id -> columns with words, in the rows themselves or in their history.

    A row that was deleted has its history still.
    """
    found: dict[str, list[str]] = {}
    for column in columns:
        now = words_left(model, column).filter(**where).values_list("pk", flat=True)
        once = words_left(history_of(model), column).filter(**where)
        for pk in sorted({*now, *once.values_list("pgh_obj_id", flat=True)}):
            found.setdefault(str(pk), []).append(column)
    return {model._meta.db_table: found} if found else {}
