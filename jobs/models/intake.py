"""Intake by spreadsheet: the file as it came, its rows, and what became of each."""

from __future__ import annotations

from django.db import models

from jobs.managers import CompanyScopedQuerySet
from jobs.models.jobs import Job
from jobs.models.organisations import Company, Scheme
from jobs.models.people import User


class IntakeBatch(models.Model):
    class State(models.TextChoices):
        READING = "reading", "Reading"
        PREVIEW = "preview", "Preview"
        IMPORTING = "importing", "Importing"
        IMPORTED = "imported", "Imported"
        REFUSED = "refused", "Refused"

    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="intake_batches")
    scheme = models.ForeignKey(Scheme, on_delete=models.PROTECT, related_name="intake_batches")
    file_name = models.CharField(max_length=200)
    stored_name = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64)
    state = models.CharField(max_length=10, choices=State, default=State.READING)
    refusal = models.TextField(blank=True)
    row_count = models.PositiveIntegerField(default=0)
    rows_done = models.PositiveIntegerField(default=0)
    sent_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    sent_at = models.DateTimeField(auto_now_add=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    objects = CompanyScopedQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        verbose_name_plural = "intake batches"

    def __str__(self) -> str:
        return self.file_name


class IntakeRow(models.Model):
    class Outcome(models.TextChoices):
        GOOD = "good", "Good"
        BAD = "bad", "To mend"
        KNOWN = "known", "Already taken in"
        IMPORTED = "imported", "Taken in"

    batch = models.ForeignKey(IntakeBatch, on_delete=models.CASCADE, related_name="rows")
    number = models.PositiveIntegerField(help_text="Row number in the file, header being row 1.")
    values = models.JSONField(help_text="Cells as read, by column heading.")
    problems = models.JSONField(default=list, help_text="List of {field, message, remedy}.")
    outcome = models.CharField(max_length=8, choices=Outcome)
    job = models.ForeignKey(Job, null=True, blank=True, on_delete=models.SET_NULL)

    class Meta:
        ordering = ["batch_id", "number"]
        constraints = [
            models.UniqueConstraint(fields=["batch", "number"], name="intake_row_once_a_batch")
        ]
