"""Entries of the ledger: each under the last Seal, each fact's row as it was when it entered."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from hashlib import sha256
from itertools import zip_longest
from json import JSONDecoder
from typing import Any, Protocol

from compliance.ledger.tree import verify_inclusion
from compliance.verify.facts import Facts, name_of
from compliance.verify.faults import Fault, Unsound
from compliance.verify.layout import CONTENTS, ENTRIES, HASHED, PROOFS, ROWS
from compliance.verify.present import Histories
from compliance.verify.reading_json import read_object, whole_number
from compliance.verify.roots import GrowingTree, leaf_hashes
from compliance.verify.seals import ReadSeal, path_of
from compliance.verify.sources import PackFiles


class Sealed(Protocol):
    """What a Seal says of the tree."""

    @property
    def name(self) -> str: ...
    @property
    def tree_size(self) -> int: ...
    @property
    def root(self) -> bytes: ...


Look = Callable[[str, int, str, str], Iterator[Fault]]
"""What is wrong with a text, given its kind, id and column."""

_scan = JSONDecoder().scan_once  # type: ignore[attr-defined]  # not in the type stubs


def whole_tree_faults(seals: Iterable[Sealed], files: PackFiles) -> Iterator[Fault]:
    """That the entries of a whole pack, from position 0 on, give the root of every Seal.

    seals: the smallest first; taken while entries are read.
    """
    tree = GrowingTree()
    waiting = iter(seals)
    seal, last = next(waiting, None), None
    covered = 0
    for block in files.line_blocks(ENTRIES):
        leaves = leaf_hashes(block)
        while seal is not None and seal.tree_size <= tree.size + len(leaves):
            upto = seal.tree_size - tree.size
            if upto < 0:
                yield Fault(seal.name, f"comes after {tree.size} entries were sealed")
                return
            tree.extend(leaves[:upto])
            leaves = leaves[upto:]
            if tree.root() != seal.root:
                yield Fault(
                    f"entries {covered} to {seal.tree_size - 1}",
                    f"do not give the root of {seal.name}: one was changed, dropped, added or "
                    "moved",
                    seal.root.hex(),
                    tree.root().hex(),
                )
                return
            covered, last, seal = seal.tree_size, seal, next(waiting, None)
        tree.extend(leaves)
    if seal is not None and seal.tree_size > tree.size:
        yield Fault(
            seal.name, "covers more entries than there are", str(seal.tree_size), str(tree.size)
        )
    elif last is not None and tree.size > last.tree_size:
        yield Fault(
            f"entry {last.tree_size}",
            "stands behind the last Seal",
            f"{last.tree_size} entries",
            str(tree.size),
        )


@dataclass(slots=True)
class EntryReader:
    """Goes through entries, proofs and rows together, collecting facts on the way."""

    files: PackFiles
    seal: ReadSeal
    whole: bool
    facts: Facts
    histories: Histories
    last_position: int = -1

    def faults(self) -> Iterator[Fault]:
        proofs = iter(()) if self.whole else self.files.lines(PROOFS)
        lines = zip_longest(self.files.lines(ENTRIES), self.files.lines(ROWS), proofs)
        add, note, whole = self.facts.add, self.histories.note, self.whole
        for n, (entry, row, proof) in enumerate(lines):
            yield from self._twice()
            if entry is None:
                yield Fault(
                    f"{PROOFS}, line {n + 1}" if row is None else _row_name(row, n),
                    "has no entry in the ledger of this pack: one was dropped, or a row was added",
                )
                return
            kind, fact = _fact(entry, n)
            note(kind, fact, n, entry)
            if not whole:
                yield from self._inclusion(entry, proof, name_of(kind, fact))
            if row != entry:
                where = name_of(kind, fact, n if whole else None)
                yield from _row_faults(row, kind, fact, where)
            add(kind, fact, n)
        self.facts.counts()  # writes down what waits, and so finds the last that came twice
        yield from self._twice()

    def _twice(self) -> Iterator[Fault]:
        for kind, number, entry in self.facts.twice:
            yield Fault(
                f"{self.facts.name(kind, number)}, entry {entry}", "enters the ledger twice"
            )
        self.facts.twice.clear()

    def _inclusion(self, entry: bytes, proof: bytes | None, where: str) -> Iterator[Fault]:
        if proof is None:
            yield Fault(where, f"has no proof that it is under {self.seal.name}")
            return
        values = read_object(proof, f"the proof of {where}")
        position = whole_number(values, "position", f"the proof of {where}")
        if position <= self.last_position:
            yield Fault(
                where, "is out of order", f"a position after {self.last_position}", str(position)
            )
        self.last_position = position
        leaf = sha256(b"\x00" + entry).digest()
        path = path_of(values, f"the proof of {where}")
        if not verify_inclusion(position, self.seal.tree_size, leaf, path, self.seal.root):
            yield Fault(
                where,
                f"is not what was sealed: with its proof it does not give the root of "
                f"{self.seal.name}",
                self.seal.root.hex(),
            )


def _fact(entry: bytes, n: int) -> tuple[str, dict[str, Any]]:
    """Kind and fact of an entry. Raises Unsound.

    A name that stood in it twice would be read as Python reads it; the leaf is over its bytes.
    """
    try:
        text = entry.decode()
        values, end = _scan(text, 0)
        kind, fact = values["kind"], values["fact"]
        if type(kind) is str and type(fact["id"]) is int and end == len(text):
            return kind, fact
    except (ValueError, StopIteration, RecursionError, KeyError, TypeError) as error:
        raise Unsound(f"{ENTRIES}, line {n + 1}", "is no readable entry", found=error) from error
    raise Unsound(f"{ENTRIES}, line {n + 1}", "has no kind, or no fact with an id")


def _row_name(row: bytes, n: int) -> str:
    """What a person calls a row without an entry; where it stands if it doesn't say."""
    try:
        return name_of(*_fact(row, n))
    except Unsound:
        return f"{ROWS}, line {n + 1}"


def _row_faults(
    row: bytes | None, kind: str, recorded: dict[str, Any], where: str
) -> Iterator[Fault]:
    """How a row that is not letter for letter its entry differs from it.

    A column added to the table since then is no change.
    """
    if row is None:
        yield Fault(where, "has no row any more: it was deleted from its table")
        return
    found = read_object(row, f"the row of {where}")
    now = found.get("fact")
    if not isinstance(now, dict) or (found.get("kind"), now.get("id")) != (kind, recorded["id"]):
        yield Fault(
            where,
            "has no row any more: it was deleted from its table, or rows were moved",
            f"{kind} {recorded['id']}",
            f"{found.get('kind')} {now.get('id')}" if isinstance(now, dict) else "none",
        )
        return
    for column, value in recorded.items():
        if column not in now or now[column] != value or type(now[column]) is not type(value):
            yield Fault(
                where,
                f"its {column} is not what the ledger recorded",
                repr(value),
                repr(now.get(column)),
            )


def contents_faults(
    facts: Facts, withheld: frozenset[str], files: PackFiles, look: Look
) -> Iterator[Fault]:
    """That the text of every hashed column gives its hash, and that none is missing.

    Only of what an Erasure took away it may be. look: says what is wrong with a text itself.
    """
    for n, line in enumerate(files.lines(CONTENTS), 1):
        where = f"{CONTENTS}, line {n}"
        values = read_object(line, where)
        kind, number, column = (values.get(name) for name in ("kind", "id", "column"))
        found = facts.take_hash(kind, number, column)
        text, salt = values.get("text"), values.get("salt")
        if found is None or not isinstance(text, str) or not isinstance(salt, str):
            yield Fault(where, "is of nothing that entered the ledger of this pack as a hash")
            continue
        hashed, given = found
        if given:
            yield Fault(where, "is given twice")
        digest = sha256((salt + text).encode("utf-8", "surrogatepass")).hexdigest()
        if HASHED + digest != hashed:
            yield Fault(
                f"{facts.name(kind, number)}",  # type: ignore[arg-type]
                f"its {column} is not what the ledger recorded the hash of",
                hashed,
                HASHED + digest,
            )
        yield from look(kind, number, column, text)  # type: ignore[arg-type]
    for kind, number, column in facts.hashes_not_taken():
        if f"{kind}.{column}" not in withheld and not facts.is_erased(kind, number, column):
            yield Fault(facts.name(kind, number), f"its {column} is missing from {CONTENTS}")
