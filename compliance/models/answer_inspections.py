"""What the inspection of a picture that came with an answer found. The file itself is the fact."""

from __future__ import annotations

from django.db import models
from django.utils import timezone

from compliance.models.exchanges import AnswerEvidence
from jobs.models.evidence import kept_as_written


class AnswerInspection(models.Model):
    """EXIF, looks and likeness of an answer's picture, with reasons; it can be worked out again.

    Where it was taken is weighed and not stored: the warning says how far away.
    """

    evidence = models.ForeignKey(
        AnswerEvidence, on_delete=models.PROTECT, related_name="inspections"
    )
    inspector_version = models.CharField(max_length=20)
    readable = models.BooleanField()
    width_px = models.PositiveIntegerField(null=True)
    height_px = models.PositiveIntegerField(null=True)
    exif_taken_at = models.DateTimeField(null=True)
    exif_time_source = models.CharField(max_length=8, blank=True)
    device = models.CharField(max_length=80, blank=True)
    perceptual_hash = models.BigIntegerField(null=True, help_text="64 bits, signed.")
    warnings = models.JSONField(default=list, help_text="List of {code, text, photo}.")
    display_name = models.CharField(max_length=200, blank=True)
    thumb_name = models.CharField(max_length=200, blank=True)
    inspected_at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["evidence", "inspector_version"], name="answer_inspected_once_a_version"
            )
        ]
        triggers = kept_as_written("answer_inspection_is_kept")

    def __str__(self) -> str:
        return f"inspection of {self.evidence_id}"
