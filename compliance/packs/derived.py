"""What is kept apart to be found quickly and follows from the rest, for the verifier to follow.

Rows that follow from what was recorded after the pack's Seal are marked `later`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from compliance.ledger.check_stored import belonging_faults, hash_faults, node_faults
from compliance.models import Seal
from compliance.packs.lines import json_line, written
from compliance.packs.scope import PackScope, batched
from compliance.packs.scratch import Scratch
from compliance.verify.layout import (
    BALANCE,
    INSPECTION,
    MOVEMENT,
    OPERATIVE,
    OPERATIVE_EVENTS,
    PHOTO_HASH,
    STORED_TREE,
    VISIT_EVENTS,
)

STEP = 2000
MOST_FAULTS = 20
NOT_SEALED = """
    SELECT e.fact_id FROM compliance_ledgerentry e
    LEFT JOIN compliance_ledgerleaf l ON l.entry_id = e.id
    WHERE e.kind = '{kind}' AND (l.position IS NULL OR l.position >= %(size)s)
"""
HASHES = f"""
    SELECT h.photo_id, h.job_id, h.inspection_id, h.value, EXISTS (
        {NOT_SEALED.format(kind=INSPECTION)} AND e.fact_id = h.inspection_id)
    FROM jobs_photohash h JOIN jobs_photo p ON p.id = h.photo_id
    WHERE {{which}} AND h.photo_id > %(after)s ORDER BY h.photo_id LIMIT {STEP}
"""
FORGOTTEN = f"""
    SELECT p.id, NULL, NULL, NULL, true FROM jobs_photo p
    WHERE {{which}} AND p.id > %(after)s
    AND NOT EXISTS (SELECT FROM jobs_photohash h WHERE h.photo_id = p.id)
    AND EXISTS ({NOT_SEALED.format(kind=INSPECTION)} AND e.fact_id IN (
        SELECT i.id FROM jobs_photoinspection i WHERE i.photo_id = p.id))
    ORDER BY p.id LIMIT {STEP}
"""
"""Photos that have no hash, and whose inspection after the Seal may say why."""
OPERATIVES = f"""
    SELECT o.id, to_jsonb(o) ->> 'during', o.live, EXISTS (
        {NOT_SEALED.format(kind=VISIT_EVENTS)} AND e.fact_id IN (
            SELECT v.pgh_id FROM {VISIT_EVENTS} v WHERE v.pgh_obj_id = o.visit_id))
    FROM {OPERATIVE} o WHERE o.id = ANY(%(numbers)s) ORDER BY o.id
"""
BALANCES = f"""
    SELECT b.id, b.depot_id, b.item_id, b.quantity, b.movements, EXISTS (
        SELECT 1 FROM {MOVEMENT} m WHERE m.depot_id = b.depot_id AND m.item_id = b.item_id
        AND m.id IN ({NOT_SEALED.format(kind=MOVEMENT)}))
    FROM {BALANCE} b ORDER BY b.id
"""


def derived_lines(scope: PackScope, seal: Seal, scratch: Scratch) -> Iterator[bytes]:
    """Of the jobs of the scope; `scratch` tells which operatives its entries are of.

    Of which each must be there comes last, so a file that was cut off is found.
    """
    if scope.is_whole:
        yield from _stored_tree()
    yield from _lines(PHOTO_HASH, _photo_hashes(scope, seal), "job_id", "inspection_id", "value")
    for numbers in scratch.edited(OPERATIVE_EVENTS):
        found = written(OPERATIVES, {"size": seal.tree_size, "numbers": numbers})
        yield from _lines(OPERATIVE, found, "during", "live")
    if scope.is_whole:
        found = written(BALANCES, {"size": seal.tree_size})
        yield from _lines(BALANCE, found, "depot_id", "item_id", "quantity", "movements")


def _stored_tree() -> Iterator[bytes]:
    """What of the ledger's own tables does not follow, as the service's own check finds it."""
    for faults in (hash_faults(MOST_FAULTS), belonging_faults(MOST_FAULTS), node_faults()):
        for where, what in faults:
            yield json_line({"table": STORED_TREE, "where": where, "what": what})


def _photo_hashes(scope: PackScope, seal: Seal) -> Iterator[tuple[object, ...]]:
    if scope.jobs is None:
        yield from _hashes("true", {"size": seal.tree_size})
        return
    for jobs in batched(scope.jobs):
        yield from _hashes("p.job_id = ANY(%(jobs)s)", {"size": seal.tree_size, "jobs": jobs})


def _hashes(which: str, parameters: dict[str, object]) -> Iterator[tuple[object, ...]]:
    for sql in (HASHES.format(which=which), FORGOTTEN.format(which=which)):
        after = 0
        while rows := written(sql, parameters | {"after": after}):
            yield from rows
            after = rows[-1][0]


def _lines(table: str, rows: Iterable[tuple[object, ...]], *columns: str) -> Iterator[bytes]:
    """Rows of id, these columns, and whether what they follow from came after the Seal."""
    for number, *values, later in rows:
        said = {"table": table, "id": number} | dict(zip(columns, values, strict=True))
        yield json_line(said | {"later": True} if later else said)
