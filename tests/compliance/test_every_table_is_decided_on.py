"""No table can be changed unnoticed because nobody thought of it."""

from __future__ import annotations

import pytest
from django.apps import apps
from django.db import connection

from compliance.ledger import tables
from compliance.ledger.facts import FACTS
from compliance.ledger.histories import HISTORIES, UNTRACKED
from tests.compliance.database_tampering import model_of

pytestmark = pytest.mark.django_db


def names(sql: str) -> set[str]:
    with connection.cursor() as cursor:
        cursor.execute(sql)
        return {row[0] for row in cursor.fetchall()}


def test_every_table_of_the_database_is_decided_on_once():
    """A new table belongs into compliance/ledger/tables.py, histories.py or facts.py."""
    there = names("SELECT tablename FROM pg_tables WHERE schemaname = current_schema()")
    groups = (FACTS, HISTORIES, {h.of: 0 for h in HISTORIES.values()}, tables.LEDGER)
    listed = [name for group in (*groups, tables.DERIVED, tables.NO_EVIDENCE) for name in group]

    assert there == set(tables.decisions())
    assert len(listed) == len(set(listed))


def test_every_history_enters_the_ledger():
    histories = {m._meta.db_table for m in apps.get_models() if hasattr(m, "pgh_tracked_model")}
    kept = {name for name in histories if model_of(name)._meta.managed}

    assert kept - {"pghistory_events"} == set(HISTORIES)


@pytest.mark.parametrize("kind", HISTORIES)
def test_every_column_is_in_the_history_but_those_listed_with_a_reason(kind: str):
    history = HISTORIES[kind]
    tracked, events = model_of(history.of), model_of(kind)
    row = {f.column for f in tracked._meta.concrete_fields if not f.generated}
    told = {f.column for f in events._meta.concrete_fields}

    assert row - told == set(UNTRACKED.get(history.of, ()))
    assert set(history.words) <= row


def test_making_and_deleting_such_a_row_writes_an_event_and_so_does_an_edit_of_what_it_holds():
    """Rows that only join two others are never changed; a change by force is found all the same."""
    joined = {"jobs_scheme_companies", "jobs_visitneed_barred_crews", "jobs_visitoperative"}
    for history in HISTORIES.values():
        triggers = names(
            "SELECT tgname::text FROM pg_trigger WHERE NOT tgisinternal "
            f"AND tgrelid = '{history.of}'::regclass"
        )
        acts = {"insert_insert", "delete_delete"}
        if history.of not in joined:
            acts.add("update_update")
        for act in acts:
            assert any(act in name for name in triggers), f"{history.of} has no {act}"
