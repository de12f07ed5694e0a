"""Salts of what enters the ledger hashed from tables that have no column for one."""

from __future__ import annotations

from django.db import models


class HistorySalt(models.Model):
    """Keeps the hashed words of one event unguessable; gone once they are erased. No fact."""

    kind = models.CharField(max_length=60, help_text="The table of the event.")
    fact_id = models.BigIntegerField()
    salt = models.UUIDField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["kind", "fact_id"], name="history_salt_once_an_event")
        ]

    def __str__(self) -> str:
        return f"salt of {self.kind} {self.fact_id}"
