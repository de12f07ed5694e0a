"""The Ledger: every fact, in the order it was sealed, under signed tree heads.

A trigger on each table of facts writes a LedgerEntry in the fact's own transaction, so
that no path, not even raw SQL, can leave one out. Writers never wait for one another:
one sequencer gives committed entries their position when it makes a Seal.
"""

from __future__ import annotations

from django.db import models
from django.utils import timezone

from jobs.models.evidence import kept_as_written


class LedgerEntryQuerySet(models.QuerySet["LedgerEntry"]):
    def unsealed(self) -> LedgerEntryQuerySet:
        return self.filter(leaf__isnull=True)


class LedgerEntry(models.Model):
    """One fact as written. `leaf_hash` = SHA-256(0x00 || payload), RFC 9162 section 2.1.1."""

    kind = models.CharField(max_length=60, help_text="The table of the fact.")
    fact_id = models.BigIntegerField()
    payload = models.TextField(help_text="The row as canonical JSON; personal data as hashes.")
    leaf_hash = models.BinaryField(max_length=32)
    recorded_at = models.DateTimeField(default=timezone.now)
    belongs_to = models.CharField(
        max_length=40,
        blank=True,
        default="",
        help_text="What the payload says it is of, such as “visit 12”, to find a job's entries.",
    )

    objects = LedgerEntryQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        verbose_name_plural = "ledger entries"
        constraints = [
            models.UniqueConstraint(fields=["kind", "fact_id"], name="ledger_entry_once_a_fact")
        ]
        indexes = [models.Index(fields=["belongs_to"], name="ledger_entry_belongs_to")]
        triggers = kept_as_written("ledger_entry_is_kept")

    def __str__(self) -> str:
        return f"{self.kind} {self.fact_id}"


class LedgerLeaf(models.Model):
    """The position of an entry in the tree, given once, without gaps, from 0."""

    position = models.BigIntegerField(primary_key=True)
    entry = models.OneToOneField(LedgerEntry, on_delete=models.PROTECT, related_name="leaf")

    class Meta:
        ordering = ["position"]
        triggers = kept_as_written("ledger_leaf_is_kept")

    def __str__(self) -> str:
        return f"leaf {self.position}"


class LedgerNode(models.Model):
    """The hash of a complete subtree whose leaves number 256 ** (level / 8).

    Kept so that roots and proofs read a few hundred hashes and not the whole ledger. It is
    derived, and trusted by nobody: checking the ledger works every hash out again.
    """

    level = models.PositiveSmallIntegerField(help_text="8, 16, 24 …: leaves below as a power of 2.")
    index = models.BigIntegerField(help_text="Which subtree of that level, from 0.")
    node_hash = models.BinaryField(max_length=32)

    class Meta:
        ordering = ["level", "index"]
        constraints = [
            models.UniqueConstraint(fields=["level", "index"], name="ledger_node_once"),
        ]
        triggers = kept_as_written("ledger_node_is_kept")

    def __str__(self) -> str:
        return f"node {self.level}/{self.index}"


class Seal(models.Model):
    """A signed tree head over the first `tree_size` leaves (RFC 9162 section 4.10 in spirit)."""

    tree_size = models.BigIntegerField()
    root_hash = models.BinaryField(max_length=32)
    made_at = models.DateTimeField(default=timezone.now)
    signed_text = models.TextField(help_text="What was signed, byte for byte.")
    signature = models.BinaryField(max_length=64, help_text="Ed25519.")
    public_key = models.BinaryField(max_length=32)

    class Meta:
        ordering = ["-id"]
        triggers = kept_as_written("seal_is_kept")

    def __str__(self) -> str:
        return f"Seal over {self.tree_size} entries"

    @property
    def root_hex(self) -> str:
        return bytes(self.root_hash).hex()
