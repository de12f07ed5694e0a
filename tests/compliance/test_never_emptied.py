"""No table of facts, and no table of the ledger, is ever emptied at one stroke."""

from __future__ import annotations

import pytest
from django.db import IntegrityError, connection, transaction

from compliance.ledger.kinds import KINDS

pytestmark = pytest.mark.django_db

LEDGER = (
    "compliance_ledgerentry",
    "compliance_ledgerleaf",
    "compliance_ledgernode",
    "compliance_seal",
)


@pytest.mark.parametrize("table", [*KINDS, *LEDGER])
def test_truncate_is_refused(table: str):
    with (
        pytest.raises(IntegrityError, match=f"{table} is never emptied"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(f"TRUNCATE {table} CASCADE")


def test_truncate_of_what_facts_hang_on_is_refused():
    """CASCADE from a table that keeps no facts itself."""
    with (
        pytest.raises(IntegrityError, match="is never emptied"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute("TRUNCATE jobs_visit CASCADE")
