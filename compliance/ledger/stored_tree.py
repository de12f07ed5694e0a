"""The tree as it is stored: leaf hashes by position, and the hash of every full 256 of them.

A proof or a root reads at most a few runs of 256 hashes, however long the ledger is.
"""

from __future__ import annotations

from collections import OrderedDict
from functools import cached_property
from typing import Any

from django.db.models import QuerySet

from compliance.ledger.tree import (
    EMPTY_ROOT,
    MemoryTree,
    Paths,
    ProofError,
    consistency_path,
    inclusion_path,
    root_hash,
)
from compliance.models import LedgerLeaf, LedgerNode

STEP = 8
"""Levels between stored hashes; a run is 2 ** STEP of them."""
RUN = 1 << STEP
RUNS_KEPT = 64
"""Runs held in memory at most: a megabyte or two, and enough for a walk along the ledger."""


class StoredTree:
    """The ledger's tree. Keeps the runs it read last, so make a new one for every question."""

    def __init__(self) -> None:
        self._runs: OrderedDict[tuple[int, int], MemoryTree] = OrderedDict()

    @cached_property
    def size(self) -> int:
        """How many entries have a position."""
        last = LedgerLeaf.objects.order_by("-position").values_list("position", flat=True).first()
        return 0 if last is None else last + 1

    def root(self, size: int) -> bytes:
        self._refuse_beyond(size)
        return EMPTY_ROOT if size == 0 else root_hash(size, self.lookup)

    def inclusion(self, index: int, size: int) -> list[bytes]:
        self._refuse_beyond(size)
        return inclusion_path(index, size, self.lookup)

    def paths(self, size: int) -> Paths:
        """`inclusion` for many leaves, best in their order."""
        self._refuse_beyond(size)
        return Paths(size, self.lookup)

    def consistency(self, first: int, second: int) -> list[bytes]:
        self._refuse_beyond(second)
        return consistency_path(first, second, self.lookup)

    def lookup(self, level: int, index: int) -> bytes:
        """The hash of a complete subtree, worked out from the nearest stored level below.

        Raises LookupError when a hash that should be stored is not.
        """
        base = level - level % STEP
        above = level - base
        in_a_run = RUN >> above
        return self.run(base, index // in_a_run).lookup(above, index % in_a_run)

    def run(self, base: int, number: int) -> MemoryTree:
        """The tree over up to 256 neighbouring hashes of level `base`, a multiple of STEP."""
        key = (base, number)
        if key not in self._runs:
            span = (number * RUN, number * RUN + RUN - 1)
            rows = _leaves(span) if base == 0 else _nodes(base, span)
            self._runs[key] = MemoryTree([bytes(h) for h in rows])
            if len(self._runs) > RUNS_KEPT:
                self._runs.popitem(last=False)
        self._runs.move_to_end(key)
        return self._runs[key]

    def _refuse_beyond(self, size: int) -> None:
        if not 0 <= size <= self.size:
            raise ProofError(f"The ledger has {self.size} entries in its tree, not {size}.")


def _leaves(span: tuple[int, int]) -> QuerySet[LedgerLeaf, Any]:
    rows = LedgerLeaf.objects.filter(position__range=span).order_by("position")
    return rows.values_list("entry__leaf_hash", flat=True)


def _nodes(level: int, span: tuple[int, int]) -> QuerySet[LedgerNode, Any]:
    rows = LedgerNode.objects.filter(level=level, index__range=span).order_by("index")
    return rows.values_list("node_hash", flat=True)


def store_full_runs(old_size: int, new_size: int) -> None:
    """Store the hash of each run that became full as the tree grew, level by level."""
    level, before, after = 0, old_size, new_size
    while after >= RUN:
        tree = StoredTree()
        level += STEP
        LedgerNode.objects.bulk_create(
            (
                LedgerNode(
                    level=level,
                    index=number,
                    node_hash=tree.run(level - STEP, number).lookup(STEP, 0),
                )
                for number in range(before // RUN, after // RUN)
            ),
            batch_size=2000,
        )
        before, after = before // RUN, after // RUN
