"""What every record from a phone has in common: its clock, its place, and no second thoughts.

A phone's clock is told, not trusted: a record keeps the phone's own time, how far the phone was
ahead of us when it sent the record, and the time corrected by that (see `jobs.evidence.clock`).
"""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from typing import Any

import pgtrigger
from django.db import models
from django.db.models import Case, Value, When

FROZEN_WORDS = (
    "Work on this visit was stopped. Nothing is recorded on it any more but photos of what was "
    "found, and leaving."
)


def kept_as_written(name: str) -> list[pgtrigger.Trigger]:
    """Triggers that refuse every change and deletion of a table's rows."""
    return [pgtrigger.Protect(name=name, operation=pgtrigger.Update | pgtrigger.Delete)]


ERASED = "[erased]"
"""Stands in place of words that were erased."""
NO_SALT = "00000000-0000-0000-0000-000000000000"


def kept_but_for_erasure(
    name: str,
    of: str = "TG_TABLE_NAME, OLD.id",
    salted: bool = True,
    words: Sequence[str] = (),
    **marks: str,
) -> list[pgtrigger.Trigger]:
    """As `kept_as_written`, but a recorded erasure may put marks in place of what is personal.

    marks: column to the SQL of what stands there afterwards. A row's salt goes with them, so
    that nobody can try names against the hash that stays in the ledger. Whether an erasure was
    recorded is answered by the function `jobs_may_erase`; of: table and id that it is asked for.
    words: columns of text, where "[erased]" stands in place of what was not empty.
    """
    for column in words:
        marks[column] = f"(CASE WHEN OLD.{column} = '' THEN '' ELSE '{ERASED}' END)"
    if salted:
        marks["salt"] = f"'{NO_SALT}'"
    apart = ", ".join(f"'{column}'" for column in (*marks, "corrected_at"))
    marked = " AND ".join(f"NEW.{c} IS NOT DISTINCT FROM {sql}" for c, sql in marks.items())
    return [
        pgtrigger.Trigger(
            name=name,
            when=pgtrigger.Before,
            operation=pgtrigger.Update | pgtrigger.Delete,
            func=f"""
                IF TG_OP = 'UPDATE' THEN
                    IF to_jsonb(NEW) - ARRAY[{apart}] = to_jsonb(OLD) - ARRAY[{apart}]
                        AND {marked} AND jobs_may_erase({of})
                    THEN RETURN NEW; END IF;
                END IF;
                RAISE EXCEPTION
                    'pgtrigger: Cannot update or delete rows from % table', TG_TABLE_NAME;
            """,
        )
    ]


def marks_of(*columns: str) -> dict[str, Any]:
    """What an update sets to put marks in place of words, as `kept_but_for_erasure` wants it."""
    return {
        column: Case(When(**{column: ""}, then=Value("")), default=Value(ERASED))
        for column in columns
    }


def erasable_history(of: str, name: str, *words: str) -> dict[str, Any]:
    """Arguments of `pghistory.track` for a table whose words an erasure takes out of its history.

    of: the table whose rows an erasure names, such as "jobs_visit".
    """
    triggers = kept_but_for_erasure(name, of=f"'{of}', OLD.pgh_obj_id", salted=False, words=words)
    return {"append_only": False, "meta": {"triggers": triggers}}


def frozen_once_stopped(name: str, only: str = "true") -> pgtrigger.Trigger:
    """A trigger that refuses what was recorded after the work on its visit was stopped.

    What a phone recorded before the stop and sent after it is still taken. only: SQL over NEW,
    which rows it is about. It runs after the insert, when the corrected time is known.
    """
    return pgtrigger.Trigger(
        name=name,
        when=pgtrigger.After,
        operation=pgtrigger.Insert,
        func=f"""
            IF {only} AND EXISTS (
                SELECT 1 FROM jobs_visit v WHERE v.id = NEW.visit_id AND v.status = 'stopped'
                AND coalesce(
                    (SELECT s.corrected_at FROM jobs_stopwork s WHERE s.visit_id = v.id),
                    v.left_at, '-infinity') < NEW.corrected_at
            ) THEN
                RAISE EXCEPTION '{FROZEN_WORDS}' USING ERRCODE = 'restrict_violation';
            END IF;
            RETURN NULL;
        """,
    )


class LessPhoneAhead(models.Func):
    """A time by the phone's clock less how far that clock was ahead, all in UTC.

    Through UTC because PostgreSQL takes only immutable expressions for a generated column, and
    time zones with summer time are not.
    """

    template = "(%(expressions)s, interval '0')) AT TIME ZONE 'UTC'"
    arg_joiner = " AT TIME ZONE 'UTC' - coalesce("
    arity = 2


def corrected_from(field: str) -> models.GeneratedField:
    """The column that holds `field` by our clock. The database works it out."""
    return models.GeneratedField(
        expression=LessPhoneAhead(field, "phone_ahead"),
        output_field=models.DateTimeField(null=True),
        db_persist=True,
    )


class ByPhoneClock(models.Model):
    """A record with a time by the phone's clock; the subclass adds `corrected_at`."""

    phone_sent_at = models.DateTimeField(
        null=True, blank=True, help_text="The phone's clock when it sent the record."
    )
    phone_ahead = models.DurationField(
        null=True,
        blank=True,
        editable=False,
        help_text="How far the phone's clock was ahead of ours then; negative: behind.",
    )

    class Meta:
        abstract = True


class Salted(models.Model):
    """A fact that holds personal data: they enter the ledger hashed with its salt."""

    salt = models.UUIDField(
        default=uuid.uuid4, editable=False, help_text="Keeps hashed personal data unguessable."
    )

    class Meta:
        abstract = True


class WordsHashed(models.Model):
    """A fact whose notes, or places of photos, enter the ledger hashed like its other secrets."""

    words_hashed = models.BooleanField(
        default=True,
        editable=False,
        help_text="No: they entered the ledger as they were, before they were hashed.",
    )

    class Meta:
        abstract = True


class WithPosition(Salted):
    """Where the phone said it was. Only with the consent of who holds it; never tracked."""

    position_agreed = models.BooleanField(default=False)
    latitude_deg = models.FloatField(null=True, blank=True)
    longitude_deg = models.FloatField(null=True, blank=True)
    position_accuracy_m = models.FloatField(null=True, blank=True)

    class Meta:
        abstract = True

    @property
    def has_position(self) -> bool:
        return self.latitude_deg is not None


def position_constraints(name: str) -> list[models.BaseConstraint]:
    """A position is whole, on the Earth, and was agreed to."""
    none_given = models.Q(latitude_deg__isnull=True, longitude_deg__isnull=True)
    whole = models.Q(
        latitude_deg__range=(-90, 90), longitude_deg__range=(-180, 180), position_agreed=True
    )
    return [
        models.CheckConstraint(
            condition=none_given | whole,
            name=f"{name}_position_whole_and_agreed",
            violation_error_message="latitude_deg: a position needs latitude, longitude and the "
            "consent of who holds the phone.",
        )
    ]
