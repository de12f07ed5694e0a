"""Whoever adds a column that can hold words, a position or a document decides about erasing it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.apps import apps
from django.contrib.postgres.fields import ArrayField
from django.db import models

from compliance.ledger.facts import ERASABLE, FACTS, HASHED_SINCE
from compliance.personal.columns import ERASED_WITH, KEPT
from compliance.personal.erasable import ERASERS
from compliance.personal.held import HELD, NOT_EXPORTED

OURS = ("jobs", "compliance")
DERIVED = (models.GeneratedField, models.UUIDField)


def tables() -> dict[str, Any]:
    """Our models by table, without the history, which goes by its table."""
    found = [m for label in OURS for m in apps.get_app_config(label).get_models()]
    return {m._meta.db_table: m for m in found if not hasattr(m, "pgh_tracked_model")}


def told_columns(model: Any) -> Iterator[str]:
    """Columns of free words, positions on the Earth, lists and documents."""
    for field in model._meta.concrete_fields:
        inner = field.base_field if isinstance(field, ArrayField) else field
        words = isinstance(inner, models.CharField | models.TextField | models.JSONField)
        words = words or isinstance(field, ArrayField)
        place = "latitude" in field.name or "longitude" in field.name
        if (words or place) and not inner.choices and not isinstance(field, DERIVED):
            yield field.column


def test_every_column_is_erased_with_a_kind_or_kept_for_a_reason():
    undecided, twice = [], []
    for table, model in tables().items():
        kept = KEPT.get(table, {})
        for column in told_columns(model):
            erased = column in ERASED_WITH.get(table, {})
            is_kept = bool(kept) if isinstance(kept, str) else column in kept
            if not erased and not is_kept:
                undecided.append(f"{table}.{column}")
            if erased and is_kept:
                twice.append(f"{table}.{column}")

    assert undecided == [], "Name them in compliance/personal/columns.py"
    assert twice == []


def test_nothing_is_declared_that_is_not_there():
    known = {(t, column) for t, model in tables().items() for column in told_columns(model)}
    declared = {(t, c) for t, columns in ERASED_WITH.items() for c in columns}
    declared |= {(t, c) for t, kept in KEPT.items() if isinstance(kept, dict) for c in kept}

    assert declared <= known
    assert set(KEPT) <= set(tables())
    assert {kind for columns in ERASED_WITH.values() for kind in columns.values()} == set(ERASERS)


def test_what_is_erased_of_a_fact_enters_the_ledger_as_a_salted_hash_only():
    for table, columns in ERASED_WITH.items():
        if table in FACTS:
            assert set(columns) == set(FACTS[table])
            assert set(columns) <= ERASABLE[table]
            names = {field.name for field in tables()[table]._meta.concrete_fields}
            assert "salt" in names
            assert not set(columns) & HASHED_SINCE or "words_hashed" in names
    assert ERASABLE.keys() <= ERASED_WITH.keys()


def test_what_is_personal_is_in_the_household_s_export():
    exported = {model._meta.db_table for _, _, model, _ in HELD}

    assert set(ERASED_WITH) <= exported


def test_every_table_that_leads_to_a_job_is_exported_or_says_why_not():
    exported = {model._meta.db_table for _, _, model, _ in HELD}
    leading = {
        table
        for table, model in tables().items()
        if {"job", "visit", "property", "survey", "photo", "certificate"}
        & {field.name for field in model._meta.concrete_fields if field.is_relation}
    }

    assert leading - exported == set(NOT_EXPORTED) & leading
    assert set(NOT_EXPORTED) <= set(tables())
