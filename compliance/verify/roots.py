"""Roots of a growing tree, many leaves at a time: the loops that a million entries run through.

The tree is RFC 9162's (section 2.1.1); `compliance.ledger.tree` holds the same in single steps,
and tests compare the two.
"""

from __future__ import annotations

from collections.abc import Sequence
from hashlib import sha256

from compliance.ledger.tree import EMPTY_ROOT, node_hash


def leaf_hashes(lines: Sequence[bytes]) -> list[bytes]:
    """HASH(0x00 || line) of each line."""
    return [sha256(b"\x00" + line).digest() for line in lines]


def parents(row: Sequence[bytes]) -> list[bytes]:
    """HASH(0x01 || left || right) of each pair; the length of `row` is even."""
    pairs = zip(row[::2], row[1::2], strict=True)
    return [sha256(b"\x01" + left + right).digest() for left, right in pairs]


class GrowingTree:
    """A tree that only grows and remembers one hash a level, fed with runs of leaves."""

    def __init__(self) -> None:
        self.size = 0
        self._complete: list[tuple[int, bytes]] = []  # (level, hash), the largest first

    def extend(self, leaves: Sequence[bytes]) -> None:
        """Append leaf hashes: whole subtrees where they fit, level by level."""
        start, count = 0, len(leaves)
        while start < count:
            left = count - start
            level = left.bit_length() - 1
            if self.size:
                level = min(level, (self.size & -self.size).bit_length() - 1)
            row: Sequence[bytes] = leaves[start : start + (1 << level)]
            start += 1 << level
            while len(row) > 1:
                row = parents(row)
            self._append(level, row[0])
            self.size += 1 << level

    def root(self) -> bytes:
        """MTH of the leaves so far."""
        if not self._complete:
            return EMPTY_ROOT
        running = self._complete[-1][1]
        for _, left in reversed(self._complete[:-1]):
            running = node_hash(left, running)
        return running

    def _append(self, level: int, running: bytes) -> None:
        while self._complete and self._complete[-1][0] == level:
            running = node_hash(self._complete.pop()[1], running)
            level += 1
        self._complete.append((level, running))
