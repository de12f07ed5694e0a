"""Words that were written freely, which an erasure blanks or replaces by a mark."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.db.models import Exists, Model, OuterRef, Q, QuerySet

from compliance.models import CertificateWithdrawal, LegalHold, Waiver, WaiverAnswer
from jobs.models import (
    AgreedWindow,
    DepthReading,
    Job,
    PreStartCheck,
    StopWork,
    Survey,
    Variation,
    Visit,
    VisitNeed,
    WorkStep,
)
from jobs.models.phone_records import ERASED, NO_SALT, marks_of

Items = dict[str, dict[str, list[str]]]

HASHED = {"words_hashed": True, "salt": NO_SALT}
_OF_JOB = {Job: "id", AgreedWindow: "need__job"}


@dataclass(frozen=True, slots=True)
class Noted:
    """A column of words in a table of facts. of_job: the way from its rows to their job.

    only: which rows hold words of a person.
    """

    model: Any
    column: str
    of_job: str = "visit__job"
    only: Q = Q()

    def left(self, job: Any) -> QuerySet[Any]:
        return words_left(self.model, self.column).filter(self.only, **{self.of_job: job})


@dataclass(frozen=True, slots=True)
class Words:
    """Words of one kind of personal data: in facts, and in what can be edited and its history."""

    noted: tuple[Noted, ...]
    edited: tuple[tuple[Any, tuple[str, ...]], ...]

    def held(self) -> Q:
        """Jobs of which such words are held."""
        held = Q()
        for noted in self.noted:
            held |= Q(Exists(noted.left(OuterRef("pk"))))
        for model, columns in self.edited:
            where = of_job(model, OuterRef("pk"))
            for kept in (model, history_of(model)):
                held |= Q(Exists(words_left(kept, *columns).filter(**where)))
        return held

    def items(self, job: Job) -> Items:
        """What an erasure would name: table -> id -> columns."""
        found: Items = {}
        for noted in self.noted:
            left = noted.left(job).order_by("pk").values_list("pk", flat=True)
            if rows := {str(pk): [noted.column] for pk in left}:
                found[noted.model._meta.db_table] = rows
        for model, columns in self.edited:
            found |= words_items(model, of_job(model, job.pk), columns)
        return found

    def erase(self, items: Items) -> None:
        """Put marks in place of what `items` names, whose erasure is recorded already."""
        for noted in self.noted:
            named = items.get(noted.model._meta.db_table, {})
            rows = noted.model.objects.filter(pk__in=list(named))
            rows.update(**marks_of(noted.column), **HASHED)
        for model, columns in self.edited:
            named = list(items.get(model._meta.db_table, ()))
            model._base_manager.filter(pk__in=named).update(**marks_of(*columns))
            history_of(model).objects.filter(pgh_obj_id__in=named).update(**marks_of(*columns))


NOTES_WORDS = Words(
    noted=(
        Noted(PreStartCheck, "note"),
        Noted(WorkStep, "note"),
        Noted(DepthReading, "correction_reason"),
        Noted(Variation, "reason"),
        Noted(StopWork, "reason"),
    ),
    edited=(
        (Job, ("called_off_reason",)),
        (Survey, ("access_note", "note")),
        (VisitNeed, ("note",)),
        (AgreedWindow, ("note",)),
        (Visit, ("note", "stop_reason")),
    ),
)
REASONS_WORDS = Words(
    noted=(
        Noted(Waiver, "reason", "job"),
        Noted(WaiverAnswer, "note", "job"),
        # What a new verdict withdrew says so in words of the service.
        Noted(
            CertificateWithdrawal,
            "reason",
            "certificate__job",
            only=Q(withdrawn_by__isnull=False),
        ),
    ),
    edited=((LegalHold, ("reason", "lifted_because")),),
)


def of_job(model: type[Model], job: Any) -> dict[str, Any]:
    """The filter for the rows of a job, and for their history."""
    return {_OF_JOB.get(model, "job"): job}


def history_of(model: type[Model]) -> Any:
    return apps.get_model(model._meta.app_label, f"{model.__name__}Event")


def words_left(model: Any, *columns: str) -> QuerySet[Any]:
    """Rows in which words stand that were not erased."""
    left = Q()
    for column in columns:
        left |= ~Q(**{f"{column}__in": ["", ERASED]})
    return model._base_manager.filter(left)


def words_items(model: type[Model], where: dict[str, Any], columns: Sequence[str]) -> Items:
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
