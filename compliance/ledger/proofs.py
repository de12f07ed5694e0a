"""Proofs for whoever asks: that an entry is under a Seal, that one Seal continues another."""

from __future__ import annotations

import json
from dataclasses import dataclass

from django.apps import apps

from compliance.ledger.histories import HISTORIES
from compliance.ledger.stored_tree import StoredTree
from compliance.ledger.tree import ProofError
from compliance.models import LedgerEntry, Seal
from jobs.errors import Refused
from jobs.models import User


@dataclass(frozen=True, slots=True)
class InclusionProof:
    """Everything RFC 9162, section 2.1.3.2, needs, and the payload that hashes to the leaf."""

    entry: LedgerEntry
    seal: Seal
    position: int
    path: tuple[bytes, ...]


@dataclass(frozen=True, slots=True)
class ConsistencyProof:
    """Everything RFC 9162, section 2.1.4.2, needs."""

    first: Seal
    second: Seal
    path: tuple[bytes, ...]


def visible_entry(user: User, entry: LedgerEntry) -> bool:
    """Whether the fact of an entry is one that this person may see; of an edit, the edited row."""
    table, row = entry.kind, entry.fact_id
    if table in HISTORIES:
        table, row = HISTORIES[table].of, json.loads(entry.payload)["fact"]["row_id"]
    models = {model._meta.db_table: model for model in apps.get_models()}
    visible = getattr(getattr(models.get(table), "_default_manager", None), "visible_to", None)
    return visible is not None and visible(user).filter(pk=row).exists()


def prove_inclusion(entry: LedgerEntry, seal: Seal | None = None) -> InclusionProof:
    """Raises Refused when no Seal covers the entry yet."""
    leaf = getattr(entry, "leaf", None)
    seal = seal or Seal.objects.first()
    if leaf is None or seal is None or leaf.position >= seal.tree_size:
        raise Refused(
            "No Seal covers this entry yet.",
            field="seal",
            remedy="Seals are made every few minutes; ask again, or name a later Seal.",
        )
    path = StoredTree().inclusion(leaf.position, seal.tree_size)
    return InclusionProof(entry, seal, leaf.position, tuple(path))


def prove_consistency(first: Seal, second: Seal) -> ConsistencyProof:
    """Raises Refused when `first` does not come before `second`."""
    try:
        path = StoredTree().consistency(first.tree_size, second.tree_size)
    except ProofError as error:
        raise Refused(
            str(error), field="first", remedy="Name the earlier Seal as `first`."
        ) from error
    return ConsistencyProof(first, second, tuple(path))
