"""The lines of a pack's files, read from the database a few thousand entries at a time."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC
from typing import Any

from django.db import connection

from compliance.ledger.facts import entered_hashed
from compliance.ledger.histories import HISTORIES
from compliance.ledger.kinds import KINDS, expression_of, key_of
from compliance.ledger.stored_tree import StoredTree
from compliance.ledger.tree import ProofError
from compliance.models import Seal
from compliance.packs.erased import Erased
from compliance.packs.scratch import Entries

LAST_SEALS = 24
NO_ROW = b"{}\n"


@dataclass(frozen=True, slots=True)
class EntryRow:
    """An entry as the ledger holds it. payload: the text that its leaf was hashed from."""

    entry: int
    position: int
    kind: str
    fact: int
    payload: str

    def values(self) -> dict[str, Any]:
        """The recorded fact; empty when the payload was made unreadable."""
        try:
            values = json.loads(self.payload)["fact"]
        except (ValueError, KeyError, TypeError):
            return {}
        return values if isinstance(values, dict) else {}


def rows_of(entries: Entries) -> Iterator[list[EntryRow]]:
    """The entries in their order, some at a time."""
    for wanted in entries.steps():
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT e.id, l.position, e.kind, e.fact_id, e.payload "
                "FROM compliance_ledgerentry e JOIN compliance_ledgerleaf l ON l.entry_id = e.id "
                "WHERE e.id = ANY(%s) ORDER BY l.position",
                [wanted],
            )
            yield [EntryRow(*row) for row in cursor.fetchall()]


def entry_lines(entries: Entries) -> Iterator[bytes]:
    for rows in rows_of(entries):
        yield b"".join(row.payload.encode() + b"\n" for row in rows)


def row_lines(entries: Entries) -> Iterator[bytes]:
    """Each fact as its table holds it now, written as its trigger would write it today.

    What an Erasure took away is written as the ledger recorded it: as a hash.
    """
    erased = Erased()
    for rows in rows_of(entries):
        now = {}
        for kind, facts in _by_kind(rows).items():
            key, expression = key_of(kind), expression_of("f", kind)
            found = written(
                f"SELECT f.{key}, jsonb_build_object('kind', %s::text, 'fact', {expression})::text "
                f"FROM {kind} f WHERE f.{key} = ANY(%s)",
                [kind, facts],
            )
            now |= {(kind, fact): text for fact, text in found}
        yield b"".join(
            _line(
                erased.as_recorded(row.kind, row.fact, now.get((row.kind, row.fact)), row.payload)
            )
            for row in rows
        )


def content_lines(entries: Entries, withheld: frozenset[str]) -> Iterator[bytes]:
    """The text of every column that entered as a hash, with the salt it was hashed with.

    Nothing of what was erased.
    """
    erased = Erased()
    for rows in rows_of(entries):
        for kind, facts in _by_kind(rows).items():
            for column in KINDS[kind]:
                if f"{kind}.{column}" not in withheld:
                    left = [fact for fact in facts if column not in erased.of(kind, fact)]
                    yield from _contents(kind, column, left)


def _contents(kind: str, column: str, facts: list[int]) -> Iterator[bytes]:
    if kind in HISTORIES:
        yield from _words(kind, column, facts)
        return
    found = written(
        f"SELECT f.id, coalesce(to_jsonb(f) ->> 'salt', ''), coalesce(to_jsonb(f) ->> %s, '') "
        f"FROM {kind} f WHERE f.id = ANY(%s) AND {entered_hashed('f', kind, column)} ORDER BY f.id",
        [column, facts],
    )
    for fact, salt, text in found:
        yield json_line({"kind": kind, "id": fact, "column": column, "salt": salt, "text": text})


def _words(kind: str, column: str, events: list[int]) -> Iterator[bytes]:
    """Of events that still have their salt; without one a word was blank, or was erased."""
    found = written(
        "SELECT f.pgh_id, s.salt::text, coalesce(to_jsonb(f) ->> %s, '') "
        f"FROM {kind} f JOIN compliance_historysalt s ON s.kind = %s AND s.fact_id = f.pgh_id "
        "WHERE f.pgh_id = ANY(%s) ORDER BY f.pgh_id",
        [column, kind, events],
    )
    for event, salt, text in found:
        yield json_line({"kind": kind, "id": event, "column": column, "salt": salt, "text": text})


def proof_lines(entries: Entries, seal: Seal) -> Iterator[bytes]:
    """The path of each entry to the Seal's root (RFC 9162, section 2.1.3.1)."""
    paths = StoredTree().paths(seal.tree_size)
    for rows in rows_of(entries):
        for row in rows:
            path = _path(lambda at=row.position: paths.path(at))
            said = ",".join(f'"{one}"' for one in path)  # quicker than an encoder, a line an entry
            yield f'{{"position":{row.position},"path":[{said}]}}\n'.encode()


def chosen_seals(seal: Seal, wanted: tuple[int, ...]) -> list[Seal]:
    """Seals of a pack, the smallest first: the first of each month, the last few, those asked for
    each with the one before it, which shows what was not sealed yet.

    Of Seals over the same entries only the newest.
    """
    upto = Seal.objects.filter(tree_size__lte=seal.tree_size)
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT min(id) FROM compliance_seal WHERE tree_size > 0 "
            "GROUP BY date_trunc('month', made_at AT TIME ZONE 'UTC')"
        )
        monthly = [row[0] for row in cursor.fetchall()]
    filled = upto.filter(tree_size__gt=0).order_by("-id").values_list("pk", flat=True)
    before = [upto.filter(pk__lt=one).order_by("-id").first() for one in wanted]
    chosen = [*monthly, *filled[:LAST_SEALS], *wanted, *(one.pk for one in before if one)]
    by_size = {one.tree_size: one for one in upto.filter(pk__in=[*chosen, seal.pk]).order_by("id")}
    return [by_size[size] for size in sorted(by_size)]


def seal_lines(seals: list[Seal]) -> Iterator[bytes]:
    yield from (json_line(seal_values(seal)) for seal in seals)


def seal_values(seal: Seal) -> dict[str, Any]:
    """A Seal whole, with its signature."""
    return {
        "id": seal.pk,
        "tree_size": seal.tree_size,
        "root_hash": bytes(seal.root_hash).hex(),
        "made_at": f"{seal.made_at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}",
        "signed_text": seal.signed_text,
        "signature": bytes(seal.signature).hex(),
        "public_key": bytes(seal.public_key).hex(),
    }


def consistency_lines(seals: list[Seal]) -> Iterator[bytes]:
    """From each Seal to the next (RFC 9162, section 2.1.4.1)."""
    tree = StoredTree()
    for first, second in zip(seals, seals[1:], strict=False):
        sizes = first.tree_size, second.tree_size
        path = _path(lambda sizes=sizes: tree.consistency(*sizes))
        yield json_line({"first": sizes[0], "second": sizes[1], "path": path})


def _path(work_out: Callable[[], list[bytes]]) -> list[str]:
    """A proof in hex; none from a tree that lost hashes, so that the verifier can say so."""
    try:
        return [found.hex() for found in work_out()]
    except (LookupError, ProofError):
        return []


def json_line(values: dict[str, Any]) -> bytes:
    return json.dumps(values, ensure_ascii=False, separators=(",", ":")).encode() + b"\n"


def _line(text: str | None) -> bytes:
    return NO_ROW if text is None else text.encode() + b"\n"


def _by_kind(rows: list[EntryRow]) -> dict[str, list[int]]:
    """Ids of facts by kind; a kind that there is no table for has no rows to show."""
    found: dict[str, list[int]] = defaultdict(list)
    for row in rows:
        if row.kind in KINDS:
            found[row.kind].append(row.fact)
    return found


def written(sql: str, parameters: list[object] | dict[str, object]) -> list[tuple[Any, ...]]:
    """Rows with time zone and digits as the trigger sets them when it writes; in one go."""
    before = "SET LOCAL timezone TO 'UTC'; SET LOCAL extra_float_digits TO 1"
    after = "SET LOCAL timezone TO DEFAULT; SET LOCAL extra_float_digits TO DEFAULT"
    with connection.cursor() as cursor:
        cursor.execute(f"{before}; {sql}; {after}", parameters)
        cursor.nextset()
        cursor.nextset()
        return cursor.fetchall()
