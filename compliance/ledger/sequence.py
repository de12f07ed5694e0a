"""Giving committed entries their position in the tree.

Entries get their id while their transaction still runs, and transactions commit in any
order: an entry with a small id may appear after one with a large id was sealed. So ids are
no positions, and no mark such as "everything up to id N is done" is kept. One sequencer at
a time (an advisory lock) takes the entries that are committed and have no leaf yet, in the
order of their ids, and appends them. What a running transaction wrote is not seen (READ
COMMITTED shows only what has ended) and is taken the next time, behind the others.

Writers never wait: they insert their entry and go on.
"""

from __future__ import annotations

from django.db import connection, transaction

from compliance.ledger.stored_tree import store_full_runs

SEQUENCER_LOCK = 0x65766573_6C656467  # any constant; this one reads "evesledg"


def sequence_entries() -> int:
    """Append every committed entry without a position; returns the size of the tree."""
    with transaction.atomic(), connection.cursor() as cursor:
        # A statement of its own: the next one must see what the last holder committed.
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [SEQUENCER_LOCK])
        cursor.execute("SELECT coalesce(max(position) + 1, 0) FROM compliance_ledgerleaf")
        (size,) = cursor.fetchone()
        cursor.execute(
            """
            INSERT INTO compliance_ledgerleaf (position, entry_id)
            SELECT %s + row_number() OVER (ORDER BY e.id) - 1, e.id
            FROM compliance_ledgerentry e
            WHERE NOT EXISTS (SELECT 1 FROM compliance_ledgerleaf l WHERE l.entry_id = e.id)
            ORDER BY e.id
            """,
            [size],
        )
        new_size = size + cursor.rowcount
        store_full_runs(size, new_size)
    return new_size
