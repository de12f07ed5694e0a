"""Checking what the ledger's own tables hold only to be quick: hashes of entries, what they are of,
and hashes of full runs of the tree.

Each check gives where something is wrong, and what.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice

from django.db import connection

from compliance.ledger import stored_tree
from compliance.ledger.tree import complete_root
from compliance.models import LedgerLeaf, LedgerNode

Found = Iterator[tuple[str, str]]

WRONG_HASHES = """
    SELECT id FROM compliance_ledgerentry
    WHERE leaf_hash IS DISTINCT FROM sha256('\\x00'::bytea || convert_to(payload, 'UTF8'))
    ORDER BY id LIMIT %s
"""
WRONGLY_KEPT = """
    SELECT id, belongs_to, compliance_belongs_to(payload) FROM compliance_ledgerentry
    WHERE belongs_to IS DISTINCT FROM coalesce(compliance_belongs_to(payload), '')
    ORDER BY id LIMIT %s
"""


def hash_faults(most: int) -> Found:
    for (number,) in _query(WRONG_HASHES, most):
        yield f"entry {number}", "the payload does not give the stored hash"


def belonging_faults(most: int) -> Found:
    for number, stored, said in _query(WRONGLY_KEPT, most):
        yield f"entry {number}", f"is kept as of {stored!r}, but its payload says {said!r}"


def node_faults() -> Found:
    """Stored hashes of full runs, from the hashes of the entries up, and runs without one."""
    leaves = (
        bytes(leaf)
        for leaf in LedgerLeaf.objects.order_by("position")
        .values_list("entry__leaf_hash", flat=True)
        .iterator(stored_tree.RUN * 20)
    )
    yield from _level(stored_tree.STEP, leaves)
    for level in sorted(
        set(LedgerNode.objects.values_list("level", flat=True)) | {stored_tree.STEP}
    ):
        beneath = LedgerNode.objects.filter(level=level).order_by("index")
        hashes = beneath.values_list("node_hash", flat=True).iterator()
        yield from _level(level + stored_tree.STEP, (bytes(one) for one in hashes))


def _level(level: int, beneath: Iterator[bytes]) -> Found:
    """The nodes of a level against all that lies beneath, stored_tree.RUN by stored_tree.RUN."""
    stored = LedgerNode.objects.filter(level=level).order_by("index")
    found = stored.values_list("index", "node_hash").iterator()
    index = 0
    while len(run := list(islice(beneath, stored_tree.RUN))) == stored_tree.RUN:
        at, node = next(found, (None, b""))
        if at != index or bytes(node) != complete_root(run):
            yield f"node {level}/{index}", "the stored hash does not follow from those beneath"
        index += 1
    for at, _ in found:
        yield f"node {level}/{at}", "stands above no full run"


def _query(sql: str, most: int) -> list[tuple[object, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(sql, [most])
        return list(cursor.fetchall())
