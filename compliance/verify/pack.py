"""Checking a pack from end to end: what its facts say first, the bag around them last."""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Iterator, Sequence
from functools import partial
from typing import Any

from compliance.verify import audits, bag, present, references
from compliance.verify.chain import ChainReader, chain_note
from compliance.verify.derived import Derived
from compliance.verify.entries import EntryReader, contents_faults, whole_tree_faults
from compliance.verify.facts import Facts, thing_name
from compliance.verify.faults import Fault, PackReport, Unsound
from compliance.verify.layout import (
    CERTIFICATE,
    PACK,
    PACK_VERSION,
    PHOTO,
    READABLE_VERSIONS,
    SCOPE_JOBS,
    SCOPE_WHOLE,
)
from compliance.verify.reading_json import read_object
from compliance.verify.seals import (
    ReadSeal,
    continuation_faults,
    link_faults,
    order_faults,
    read_seals,
    seal_faults,
)
from compliance.verify.sources import PackFiles, Source

MOST_FAULTS = 20

Faults = Iterator[Fault]
WRONG_SHAPE = (
    KeyError,
    TypeError,
    ValueError,
    AttributeError,
    IndexError,
    OverflowError,
    sqlite3.Error,
)


def verify_pack(
    source: Source,
    keys: Collection[bytes],
    *,
    kept_seals: Sequence[ReadSeal] = (),
    most_faults: int = MOST_FAULTS,
) -> PackReport:
    """Check everything in a pack; at most `most_faults` faults are named, the first one first.

    keys: raw Ed25519 public keys that are trusted, got by another way than the pack.
    kept_seals: Seals kept since earlier, which the pack's ledger must continue.
    """
    return _Check(keys, kept_seals, most_faults).of(source)


class _Check:
    def __init__(
        self, keys: Collection[bytes], kept_seals: Sequence[ReadSeal], most_faults: int
    ) -> None:
        self.keys, self.kept_seals, self.most = frozenset(keys), kept_seals, most_faults
        self.faults: list[Fault] = []
        self.notes: list[str] = []
        self.seals: list[ReadSeal] = []
        self.facts = Facts()
        self.histories = present.Histories()

    def of(self, source: Source) -> PackReport:
        try:
            files = PackFiles(source)
            self._facts(files)
            self._bag(files)
        except Unsound as unsound:
            self.faults.append(unsound.fault)
        counts = self.facts.counts()
        return PackReport(
            entries=sum(counts.values()),
            seals=len(self.seals),
            photos=counts.get(PHOTO, 0),
            certificates=counts.get(CERTIFICATE, 0),
            notes=tuple(self.notes),
            faults=tuple(self.faults[: self.most]),
        )

    def _facts(self, files: PackFiles) -> None:
        """Seals, then entries, then what they say. What depends on broken things is left."""
        try:
            said = _read_pack(files)
            whole, chained = said["scope"] == SCOPE_WHOLE, said["version"] == PACK_VERSION
            self.seals = read_seals(files)
            self._collect(_of_seals(self.seals, self.keys))
            self._collect(continuation_faults(self.seals, files))
            self._collect(_kept(self.kept_seals, self.seals, self.keys, whole and chained))
            chain = ChainReader(files, self.seals, self.kept_seals, self.keys)
            self._chain(chain, whole, chained)
            if whole:
                self._collect(whole_tree_faults(chain.heads() if chained else self.seals, files))
            self.facts = Facts(said["hashed"])
            reader = EntryReader(files, self.seals[-1], whole, self.facts, self.histories)
            self._collect(reader.faults())
            self._collect(_counted(said, self.facts))
            look = partial(references.text_faults, self.facts)
            self._collect(contents_faults(self.facts, frozenset(said["withheld"]), files, look))
            self._present(files, whole, chained)
            self._references(said, files)
        except Unsound as unsound:
            self.faults.append(unsound.fault)

    def _chain(self, chain: ChainReader, whole: bool, chained: bool) -> None:
        """That no Seal was taken away, as far as others name it."""
        if not chained:
            self.notes.append(
                "A pack of version 1: whether a Seal is missing, and when operatives are on "
                "visits, was not compared."
            )
            return
        before = len(self.faults)
        self._collect(chain.faults())
        if len(self.faults) == before:
            self.notes.append(chain_note(self.seals[-1], whole))

    def _present(self, files: PackFiles, whole: bool, complete: bool) -> None:
        """Rows that can be edited against their histories, and what follows from the rest."""
        self._collect(present.present_faults(self.histories, files, self.notes))
        self._collect(present.rule_faults(self.facts, self.histories, files))
        derived = Derived(self.facts, self.histories, files, whole, complete)
        if whole or complete:
            self._collect(derived.faults())
            self.notes += derived.notes()

    def _references(self, said: dict[str, Any], files: PackFiles) -> None:
        self._collect(references.link_faults(self.facts))
        self._collect(references.certificate_faults(self.facts))
        if "certificates" not in said["left_out"]:
            self._collect(references.pdf_faults(self.facts, files, self.notes))
        if "photos" not in said["left_out"]:
            self._collect(references.photo_faults(self.facts, files))
        self._audit(files)
        self._collect(audits.answer_file_faults(self.facts, files))
        for name in (*said["left_out"], *said["withheld"]):
            self.notes.append(f"Not in this pack, as it says itself: {name}.")
        self.notes += _erased(self.facts)

    def _audit(self, files: PackFiles) -> None:
        before = len(self.faults)
        self._collect(audits.audit_faults(self.facts, files, self.seals))
        self._collect(audits.report_faults(files, self.notes))
        if len(self.faults) == before:
            self.notes += audits.audit_notes(files, self.seals)

    def _bag(self, files: PackFiles) -> None:
        """Last, because it can say only which file is wrong, not which fact."""
        for check in (
            bag.declaration_faults,
            bag.manifest_faults,
            bag.tag_manifest_faults,
            bag.oxum_faults,
        ):
            self._collect(check(files))
        self._collect(bag.signature_faults(files, self.keys))

    def _collect(self, found: Faults) -> None:
        """Take the faults of one check. What it cannot make sense of is a fault too."""
        if len(self.faults) >= self.most:
            return
        try:
            for fault in found:
                self.faults.append(fault)
                if len(self.faults) >= self.most:
                    return
        except Unsound as unsound:
            self.faults.append(unsound.fault)
        except WRONG_SHAPE as error:
            what = "something has not the shape that a pack gives it"
            self.faults.append(Fault(PACK, what, found=repr(error)))


def _erased(facts: Facts) -> list[str]:
    """What was erased, counted by kind: most of it is proved by its hash alone."""
    plain = facts.erased_but_plain()
    return [
        f"Personal data erased, as the ledger says: {thing_name(kind)} ({count}). "
        f"{_left(plain, kind)}"
        for kind, count in facts.erased_by_kind().items()
    ]


def _left(plain: dict[str, int], kind: str) -> str:
    if kind not in plain:
        return "Only hashes are left."
    return (
        f"Of {plain[kind]} the entries tell the words still: they are from before these were "
        "hashed."
    )


def _read_pack(files: PackFiles) -> dict[str, Any]:
    """pack.json. Raises Unsound when it is not one that this verifier can read."""
    said = read_object(files.text(PACK), PACK)
    if said.get("version") not in READABLE_VERSIONS:
        raise Unsound(
            PACK,
            "is of a version that this verifier cannot read",
            " or ".join(map(str, READABLE_VERSIONS)),
            said.get("version"),
        )
    if said.get("scope") not in (SCOPE_WHOLE, SCOPE_JOBS):
        raise Unsound(PACK, "has another scope", "whole or jobs", said.get("scope"))
    for name in ("withheld", "left_out"):
        if not isinstance(said.get(name), list):
            raise Unsound(PACK, f"has no list {name}")
    for name in ("counts", "hashed"):
        if not isinstance(said.get(name), dict):
            raise Unsound(PACK, f"has no {name} of facts")
    return said


def _of_seals(seals: list[ReadSeal], keys: Collection[bytes]) -> Faults:
    yield from order_faults(seals)
    yield from link_faults(seals)
    for seal in seals:
        yield from seal_faults(seal, keys)


def _kept(
    kept: Sequence[ReadSeal], seals: list[ReadSeal], keys: Collection[bytes], all_told: bool
) -> Faults:
    """That Seals kept from before are among those of the pack, root for root.

    all_told: the pack's chain has every Seal, and finds those with a number.
    """
    last = seals[-1].link
    roots = {seal.tree_size: seal.root for seal in seals}
    for seal in kept:
        yield from seal_faults(seal, keys)
        if seal.tree_size not in roots:
            if seal.link and (all_told or (last and seal.link.number > last.number)):
                continue  # the chain tells of it
            yield Fault(
                f"the Seal you kept over {seal.tree_size} entries",
                "has no counterpart here. Have the pack made with that Seal in it",
            )
        elif roots[seal.tree_size] != seal.root:
            yield Fault(
                f"the Seal you kept over {seal.tree_size} entries",
                "is not continued by this ledger: it was rewritten",
                seal.root.hex(),
                roots[seal.tree_size].hex(),
            )


def _counted(said: dict[str, Any], facts: Facts) -> Faults:
    """Numbers of facts by kind, as the pack says itself."""
    found = facts.counts()
    for kind in sorted(said["counts"].keys() | found.keys()):
        expected = said["counts"].get(kind, 0)
        if expected != found.get(kind, 0):
            yield Fault(kind, "facts were dropped or added", str(expected), str(found.get(kind, 0)))
