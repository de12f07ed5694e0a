"""Seals: signed by a key that is known, saying what their signed text says, each continuing the
one before."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from compliance.ledger.tree import EMPTY_ROOT, verify_consistency
from compliance.verify.faults import Fault, Unsound
from compliance.verify.keys import signed_by
from compliance.verify.layout import (
    CONSISTENCY,
    SEALS,
    SealLink,
    link_of,
    seal_text,
    text_sha256,
)
from compliance.verify.reading_json import from_hex, hex_field, read_object, whole_number
from compliance.verify.sources import PackFiles

HASH_BYTES = 32
SIGNATURE_BYTES = 64
LONGEST_PATH = 128


@dataclass(frozen=True, slots=True)
class ReadSeal:
    """A Seal as a pack or the API gives it. made_at: as the signed text writes it."""

    number: int
    tree_size: int
    root: bytes
    made_at: str
    signed_text: str
    signature: bytes
    public_key: bytes

    @property
    def name(self) -> str:
        return f"Seal {self.number} over {self.tree_size} entries"

    @property
    def link(self) -> SealLink | None:
        """Its place among Seals, as it signed it; None for one of version 1."""
        return link_of(self.signed_text)


def seal_of(values: dict[str, Any], where: str) -> ReadSeal:
    """Raises Unsound for a field that is missing or malformed."""
    for name in ("made_at", "signed_text"):
        if type(values.get(name)) is not str:
            raise Unsound(where, f"has no {name}")
    return ReadSeal(
        whole_number(values, "id", where),
        whole_number(values, "tree_size", where),
        hex_field(values, "root_hash", HASH_BYTES, where),
        values["made_at"],
        values["signed_text"],
        hex_field(values, "signature", SIGNATURE_BYTES, where),
        hex_field(values, "public_key", HASH_BYTES, where),
    )


def seal_faults(seal: ReadSeal, keys: Collection[bytes]) -> Iterator[Fault]:
    """Key, signature, and whether the signed text is what the fields say."""
    if seal.public_key not in keys:
        yield Fault(
            seal.name,
            "is signed with a key that you did not give",
            " or ".join(key.hex() for key in keys),
            seal.public_key.hex(),
        )
    elif not signed_by(seal.public_key, seal.signature, seal.signed_text.encode()):
        yield Fault(seal.name, "its signature does not fit its text")
    expected = seal_text(seal.tree_size, seal.root.hex(), seal.made_at, seal.link)
    if seal.signed_text != expected:
        yield Fault(
            seal.name,
            "says something else than what was signed",
            repr(expected),
            repr(seal.signed_text),
        )


def read_seals(files: PackFiles) -> list[ReadSeal]:
    """The Seals of a pack, the smallest first. Raises Unsound when there is none."""
    seals = [
        seal_of(read_object(line, f"{SEALS}, line {n}"), f"{SEALS}, line {n}")
        for n, line in enumerate(files.lines(SEALS), 1)
    ]
    if not seals:
        raise Unsound(SEALS, "holds no Seal, so nothing can be proved")
    return seals


def order_faults(seals: list[ReadSeal]) -> Iterator[Fault]:
    for earlier, later in zip(seals, seals[1:], strict=False):
        if earlier.tree_size >= later.tree_size:
            yield Fault(
                later.name, "does not come after the Seal before it", f"over {earlier.tree_size}"
            )


def link_faults(seals: Sequence[ReadSeal]) -> Iterator[Fault]:
    """That neighbours which name their places stand in them; between them others may be left out.

    Whether any is missing says `compliance.verify.chain`.
    """
    for earlier, later in zip(seals, seals[1:], strict=False):
        link, before = later.link, earlier.link
        if link is None:
            if before is not None:
                yield Fault(later.name, "does not say which Seal it follows, as Seals before it do")
        elif before is not None and link.number <= before.number:
            yield Fault(
                later.name,
                "is not numbered after the Seal before it",
                f"a number above {before.number}",
                str(link.number),
            )
        elif before is not None and link.number == before.number + 1:
            named = text_sha256(earlier.signed_text)
            if link.before != named:
                yield Fault(
                    later.name, "names another Seal before it than there is", named, link.before
                )


def continuation_faults(seals: list[ReadSeal], files: PackFiles) -> Iterator[Fault]:
    """That each Seal continues the one before, by the consistency proofs of the pack."""
    lines = list(files.lines(CONSISTENCY))
    if len(lines) != len(seals) - 1:
        yield Fault(
            CONSISTENCY,
            "does not lead from each Seal to the next",
            f"{len(seals) - 1} proofs",
            str(len(lines)),
        )
        return
    for n, (line, earlier, later) in enumerate(zip(lines, seals, seals[1:], strict=False), 1):
        where = f"{CONSISTENCY}, line {n}"
        values = read_object(line, where)
        first, second = (whole_number(values, name, where) for name in ("first", "second"))
        if (first, second) != (earlier.tree_size, later.tree_size):
            yield Fault(
                where,
                "is the proof of other Seals",
                f"from {earlier.tree_size} to {later.tree_size} entries",
                f"from {first} to {second}",
            )
        elif not continues(earlier, later, path_of(values, where)):
            yield Fault(later.name, f"does not continue {earlier.name}")


def continues(earlier: ReadSeal, later: ReadSeal, path: list[bytes]) -> bool:
    """RFC 9162, section 2.1.4.2; every tree continues the empty one."""
    if earlier.tree_size == 0:
        return earlier.root == EMPTY_ROOT and not path
    return verify_consistency(earlier.tree_size, later.tree_size, earlier.root, later.root, path)


def path_of(values: dict[str, Any], where: str) -> list[bytes]:
    """The hashes of a proof. Raises Unsound."""
    path = values.get("path")
    if not isinstance(path, list) or len(path) > LONGEST_PATH:
        raise Unsound(where, "has no path of hashes")
    return [from_hex(text, HASH_BYTES, f"a hash of {where}") for text in path]
