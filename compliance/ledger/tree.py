"""Merkle tree hashes and proofs as RFC 9162 (Certificate Transparency 2.0) defines them.

Pure functions over bytes; hashes are SHA-256, 32 bytes. A tree is seen through a `Lookup`:
`lookup(level, index)` gives the hash of the complete subtree over the 2**level leaves that
begin with leaf index * 2**level, whether it is worked out or read from a store.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Sequence

Lookup = Callable[[int, int], bytes]

EMPTY_ROOT = hashlib.sha256(b"").digest()
"""The hash of a tree without leaves (section 2.1.1)."""


class ProofError(ValueError):
    """A question that cannot be asked of the tree: an index or size beyond it."""


def leaf_hash(data: bytes) -> bytes:
    """HASH(0x00 || data), section 2.1.1."""
    return hashlib.sha256(b"\x00" + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """HASH(0x01 || left || right), section 2.1.1."""
    return hashlib.sha256(b"\x01" + left + right).digest()


def root_hash(size: int, lookup: Lookup) -> bytes:
    """MTH(D_n) of the first `size` leaves, section 2.1.1."""
    return EMPTY_ROOT if size == 0 else _hash_of_range(0, size, lookup)


def inclusion_path(index: int, size: int, lookup: Lookup) -> list[bytes]:
    """PATH(m, D_n), section 2.1.3.1: proves that leaf `index` is in the tree of `size`.

    Raises ProofError when there is no such leaf.
    """
    _refuse_no_leaf(index, size)
    path: list[bytes] = []
    start, end = 0, size
    while end - start > 1:
        middle = start + _split(end - start)
        if index < middle:
            path.append(_hash_of_range(middle, end, lookup))
            end = middle
        else:
            path.append(_hash_of_range(start, middle, lookup))
            start = middle
    return path[::-1]


class Paths:
    """PATH(m, D_n) of many leaves of one tree: the nearer two lie, the less is looked up twice."""

    def __init__(self, size: int, lookup: Lookup) -> None:
        self._size, self._lookup = size, lookup
        self._at: list[tuple[int, int]] = []  # by level: the node above the last leaf, path so far
        self._last: list[bytes] = []
        self._edge: dict[int, bytes] = {}

    def path(self, index: int) -> list[bytes]:
        """As `inclusion_path`. Raises ProofError when there is no such leaf."""
        _refuse_no_leaf(index, self._size)
        at: list[tuple[int, int]] = []
        path: list[bytes] = []
        node, last, level = index, self._size - 1, 0
        while last:
            if level < len(self._at) and self._at[level][0] == node:
                known = self._at[level][1]
                shift = len(path) - known
                at += [(above, place + shift) for above, place in self._at[level:]]
                path += self._last[known:]
                break
            at.append((node, len(path)))
            if node & 1 or node < last:
                path.append(self._node(level, node ^ 1))
            node, last, level = node >> 1, last >> 1, level + 1
        self._at, self._last = at, path
        return path

    def _node(self, level: int, index: int) -> bytes:
        """The hash of a node; of the last of its level also where its subtree is not full."""
        start, end = index << level, (index + 1) << level
        if end <= self._size:
            return self._lookup(level, index)
        if level not in self._edge:
            self._edge[level] = _hash_of_range(start, self._size, self._lookup)
        return self._edge[level]


def consistency_path(first: int, second: int, lookup: Lookup) -> list[bytes]:
    """PROOF(m, D_n), section 2.1.4.1: proves that the tree of `first` is the beginning of `second`.

    Raises ProofError unless 0 < first <= second.
    """
    if not 0 < first <= second:
        raise ProofError(
            f"No consistency proof leads from {first} to {second}; give 0 < first <= second."
        )
    return _subproof(first, 0, second, True, lookup)


def verify_inclusion(
    index: int, size: int, leaf: bytes, path: Sequence[bytes], root: bytes
) -> bool:
    """The algorithm of section 2.1.3.2; `leaf` is the leaf's hash."""
    if not 0 <= index < size:
        return False
    fn, sn, running = index, size - 1, leaf
    for p in path:
        if sn == 0:
            return False
        if fn & 1 or fn == sn:
            running = node_hash(p, running)
            while not fn & 1 and fn != 0:
                fn, sn = fn >> 1, sn >> 1
        else:
            running = node_hash(running, p)
        fn, sn = fn >> 1, sn >> 1
    return sn == 0 and running == root


def verify_consistency(
    first: int, second: int, first_root: bytes, second_root: bytes, path: Sequence[bytes]
) -> bool:
    """The algorithm of section 2.1.4.2."""
    if not 0 < first <= second:
        return False
    if first == second:
        return not path and first_root == second_root
    proof = [first_root, *path] if first & (first - 1) == 0 else list(path)
    if not proof:
        return False
    fn, sn = first - 1, second - 1
    while fn & 1:
        fn, sn = fn >> 1, sn >> 1
    fr = sr = proof[0]
    for c in proof[1:]:
        if sn == 0:
            return False
        if fn & 1 or fn == sn:
            fr, sr = node_hash(c, fr), node_hash(c, sr)
            while not fn & 1 and fn != 0:
                fn, sn = fn >> 1, sn >> 1
        else:
            sr = node_hash(sr, c)
        fn, sn = fn >> 1, sn >> 1
    return sn == 0 and fr == first_root and sr == second_root


class Frontier:
    """A tree that only grows and remembers only what its root needs: one hash a level.

    Reads a ledger of any length in constant memory.
    """

    def __init__(self) -> None:
        self.size = 0
        self._complete: list[tuple[int, bytes]] = []  # (level, hash), the largest first

    def add(self, leaf: bytes) -> None:
        """Append the hash of a leaf."""
        level, running = 0, leaf
        while self._complete and self._complete[-1][0] == level:
            running = node_hash(self._complete.pop()[1], running)
            level += 1
        self._complete.append((level, running))
        self.size += 1

    def root(self) -> bytes:
        """MTH of the leaves so far."""
        if not self._complete:
            return EMPTY_ROOT
        running = self._complete[-1][1]
        for _, left in reversed(self._complete[:-1]):
            running = node_hash(left, running)
        return running


class MemoryTree:
    """A whole tree in memory, with every complete subtree worked out once."""

    def __init__(self, leaves: Iterable[bytes]) -> None:
        """`leaves` are leaf hashes, in order."""
        self._levels: list[list[bytes]] = [list(leaves)]
        while len(self._levels[-1]) > 1:
            below = self._levels[-1]
            self._levels.append(
                [node_hash(below[i], below[i + 1]) for i in range(0, len(below) - 1, 2)]
            )

    @property
    def size(self) -> int:
        return len(self._levels[0])

    def lookup(self, level: int, index: int) -> bytes:
        return self._levels[level][index]

    def root(self, size: int | None = None) -> bytes:
        return root_hash(self.size if size is None else size, self.lookup)


def complete_root(hashes: Sequence[bytes]) -> bytes:
    """The hash over a power of two of neighbouring hashes of one level."""
    row = list(hashes)
    while len(row) > 1:
        row = [node_hash(row[i], row[i + 1]) for i in range(0, len(row), 2)]
    return row[0]


def _refuse_no_leaf(index: int, size: int) -> None:
    if not 0 <= index < size:
        raise ProofError(f"There is no leaf {index} in a tree of {size}; the first is 0.")


def _split(count: int) -> int:
    """The largest power of two smaller than `count` (section 2.1.1)."""
    return 1 << ((count - 1).bit_length() - 1)


def _hash_of_range(start: int, end: int, lookup: Lookup) -> bytes:
    """MTH(D[start:end]); `start` is a multiple of the largest power of two within."""
    count = end - start
    if count & (count - 1) == 0:
        level = count.bit_length() - 1
        return lookup(level, start >> level)
    middle = start + _split(count)
    return node_hash(_hash_of_range(start, middle, lookup), _hash_of_range(middle, end, lookup))


def _subproof(first: int, start: int, end: int, whole: bool, lookup: Lookup) -> list[bytes]:
    """SUBPROOF(m, D[start:end], b), section 2.1.4.1; `first` counts from `start`."""
    count = end - start
    if first == count:
        return [] if whole else [_hash_of_range(start, end, lookup)]
    middle = _split(count)
    if first <= middle:
        path = _subproof(first, start, start + middle, whole, lookup)
        return [*path, _hash_of_range(start + middle, end, lookup)]
    path = _subproof(first - middle, start + middle, end, False, lookup)
    return [*path, _hash_of_range(start, start + middle, lookup)]
