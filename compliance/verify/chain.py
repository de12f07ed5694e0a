"""The chain of Seals: each is numbered and names the one before, so none can be taken out of it.

Seals of version 1, which come before the numbered ones, are counted: the first number says how
many there were. That the last ones were taken away can be told only by whoever kept one.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from compliance.verify.faults import Fault
from compliance.verify.layout import (
    CHAIN,
    NO_SEAL_BEFORE,
    SealLink,
    link_of,
    seal_text,
    text_sha256,
)
from compliance.verify.reading_json import hex_field, read_object, whole_number
from compliance.verify.seals import HASH_BYTES, ReadSeal, seal_faults, seal_of
from compliance.verify.sources import PackFiles


@dataclass(slots=True)
class Chain:
    """Seals one after the other.

    count: how many so far, with those that are missing. before: SHA-256 in hex of the text of the
    last one. linked: whether that one was numbered.
    """

    count: int = 0
    before: str = NO_SEAL_BEFORE
    linked: bool = False

    def take(self, signed_text: str, name: str) -> Iterator[Fault]:
        """The next Seal; what is wrong with its place."""
        link = link_of(signed_text)
        if link is None:
            if self.linked:
                yield Fault(name, "does not say which Seal it follows, as Seals before it do")
            self.count += 1
        elif link.number <= self.count:
            yield Fault(
                name,
                "is not numbered after the Seal before it",
                f"number {self.count + 1}",
                f"number {link.number}",
            )
        elif link.number > self.count + 1:
            yield self._missing(link.number)
        elif link.before != self.before:
            yield Fault(
                name, "names another Seal before it than there is", self.before, link.before
            )
        if link is not None:
            self.count, self.linked = link.number, True
        self.before = text_sha256(signed_text)

    def take_run(self, first: int, last: int, sha256: str, linked: bool) -> Iterator[Fault]:
        """The next Seals at once, of which only their numbers are told and the last one's hash."""
        if first > self.count + 1:
            yield self._missing(first)
        elif first <= self.count or last < first:
            yield Fault(CHAIN, f"tells of Seals {first} to {last} after Seal {self.count}")
        self.count, self.before, self.linked = last, sha256, linked

    def _missing(self, found: int) -> Fault:
        """Those before number `found`; of Seals without numbers it is only known how many."""
        first, last = self.count + 1, found - 1
        if not self.linked and self.count:
            return Fault(
                f"the Seals before number {found}",
                f"are {self.count}, not {last}: some were deleted",
            )
        one = first == last
        return Fault(
            f"Seal number {first}" if one else f"Seals number {first} to {last}",
            f"{'was' if one else 'were'} deleted, for the next that there is has number {found}",
        )


@dataclass(frozen=True, slots=True)
class Head:
    """What a Seal of the chain says of the tree."""

    name: str
    tree_size: int
    root: bytes


@dataclass(slots=True)
class ChainReader:
    """The chain of a pack, under the last of its Seals, which names all before it by their hashes.

    kept: Seals that somebody kept, which must be in it.
    """

    files: PackFiles
    seals: Sequence[ReadSeal]
    kept: Sequence[ReadSeal] = ()
    keys: Collection[bytes] = ()
    chain: Chain = field(default_factory=Chain)

    def faults(self) -> Iterator[Fault]:
        """That no Seal is missing, and that the pack's own and those kept are among them."""
        if CHAIN not in self.files.names:
            yield Fault(CHAIN, "is missing from the pack")
            return
        own = {seal.link.number: seal for seal in self.seals if seal.link}
        kept = {seal.link.number: seal for seal in self.kept if seal.link}
        for where, values in self._lines():
            if "first" in values:
                yield from self._run(values, where)
                continue
            text, name = _text(values, where, self.chain)
            if "signed_text" in values and (whole := seal_of(values, where)) not in self.seals:
                yield from seal_faults(whole, self.keys)
            yield from self.chain.take(text, name)
            yield from self._same(own, "is not the one of its number in the chain")
            yield from self._same(
                kept, "which you kept, is not in this ledger's chain: it was rewritten"
            )
        yield from self._end(self.seals[-1])
        for number, seal in kept.items():
            if number > self.chain.count:
                yield Fault(
                    f"{seal.name}, number {number}",
                    f"which you kept, is not here: the last of this pack is number "
                    f"{self.chain.count}. It was deleted, unless the pack is older than it",
                )

    def _end(self, last: ReadSeal) -> Iterator[Fault]:
        found = self.chain.before, self.chain.linked, self.chain.count
        number = last.link.number if last.link else self.chain.count
        if found != (text_sha256(last.signed_text), last.link is not None, number):
            yield Fault(CHAIN, f"does not lead to {last.name}")

    def heads(self) -> Iterator[Head]:
        """What each Seal of the chain says of the tree, the first one first; none of a run."""
        chain = Chain()
        for where, values in self._lines():
            if "first" in values:
                continue
            text, name = _text(values, where, chain)
            for _ in chain.take(text, name):
                pass
            yield Head(
                name,
                whole_number(values, "tree_size", where),
                hex_field(values, "root_hash", HASH_BYTES, where),
            )

    def _lines(self) -> Iterator[tuple[str, dict[str, Any]]]:
        for n, line in enumerate(self.files.lines(CHAIN), 1):
            where = f"{CHAIN}, line {n}"
            yield where, read_object(line, where)

    def _run(self, values: dict[str, Any], where: str) -> Iterator[Fault]:
        digest = hex_field(values, "sha256", HASH_BYTES, where).hex()
        first, last = (whole_number(values, name, where) for name in ("first", "last"))
        yield from self.chain.take_run(first, last, digest, values.get("linked") is True)

    def _same(self, among: dict[int, ReadSeal], what: str) -> Iterator[Fault]:
        """That the Seal just taken is the one of its number that stands elsewhere too."""
        seal = among.get(self.chain.count) if self.chain.linked else None
        if seal is not None and text_sha256(seal.signed_text) != self.chain.before:
            yield Fault(seal.name, what, self.chain.before, text_sha256(seal.signed_text))


def _text(values: dict[str, Any], where: str, chain: Chain) -> tuple[str, str]:
    """The text of a Seal that comes next in the chain, and what it is called. Raises Unsound."""
    if "signed_text" in values:
        whole = seal_of(values, where)
        return whole.signed_text, whole.name
    size, number = whole_number(values, "tree_size", where), values.get("number")
    root = hex_field(values, "root_hash", HASH_BYTES, where).hex()
    link = None if number is None else SealLink(number, chain.before)
    name = f"the Seal over {size} entries" if link is None else f"Seal number {number}"
    return seal_text(size, root, str(values.get("made_at")), link), name


def chain_note(last: ReadSeal, whole: bool) -> str:
    """What was checked of Seals, and what only whoever kept one can tell."""
    if last.link is None:
        told = "Seals here are of version 1 and are not numbered."
    else:
        how = "each naming the one before" if whole else "by their numbers"
        told = f"Seals 1 to {last.link.number} are all there, {how}."
    return (
        f"{told} That later ones were deleted can be told only by whoever kept one: keep this "
        f"last one ({last.tree_size} entries, root {last.root.hex()}), and give it with --seal "
        "the next time."
    )
