"""Evidence: what was checked, seen, measured and signed. Never changed in place.

A correction is a new row that names the one it `replaces`. `client_key` is made by the
phone, so that the same record sent twice is stored once.
"""

from __future__ import annotations

import uuid

from django.contrib.postgres.fields import ArrayField
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils import timezone

from jobs.managers import JobScopedQuerySet
from jobs.models.jobs import Job
from jobs.models.people import User
from jobs.models.phone_records import (
    ERASED,
    ByPhoneClock,
    Salted,
    WordsHashed,
    corrected_from,
    frozen_once_stopped,
    kept_as_written,
    kept_but_for_erasure,
)
from jobs.models.surveys import LoftArea
from jobs.models.visits import Visit

__all__ = [
    "DepthReading",
    "EvidenceQuerySet",
    "Handover",
    "Photo",
    "PhotoInspection",
    "PreStartCheck",
    "kept_as_written",
]


class EvidenceQuerySet(JobScopedQuerySet):
    job_path = "visit__job"

    def current(self) -> EvidenceQuerySet:
        """Rows that no later row replaces.

        Asked for as what does not exist: of a join without a partner PostgreSQL takes it that
        hardly a row is left, and begins with all of them.
        """
        later = self.model._base_manager.filter(replaces=models.OuterRef("pk"))
        return self.filter(~models.Exists(later))


class JobEvidenceQuerySet(EvidenceQuerySet):
    job_path = "job"


class PreStartCheck(Salted, WordsHashed, ByPhoneClock):
    """What the crew checked before touching the loft. `answers`: question code -> yes/no/n-a."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="pre_start_checks")
    answers = models.JSONField()
    safe_to_start = models.BooleanField()
    note = models.TextField(blank=True)
    checked_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    checked_at = models.DateTimeField(help_text="By the phone's clock.")
    corrected_at = corrected_from("checked_at")
    received_at = models.DateTimeField(default=timezone.now, editable=False)
    client_key = models.UUIDField(default=uuid.uuid4, unique=True)
    replaces = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by"
    )

    objects = EvidenceQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        triggers = [
            *kept_but_for_erasure("pre_start_check_is_kept", words=["note"], words_hashed="true"),
            frozen_once_stopped("pre_start_check_frozen"),
        ]


class Photo(Salted, WordsHashed, ByPhoneClock):
    """An original photo as it was received. Exists only once its bytes are stored for good."""

    class Moment(models.TextChoices):
        BEFORE = "before", "Before"
        AFTER = "after", "After"
        OTHER = "other", "Other"

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="photos")
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="photos")
    moment = models.CharField(max_length=8, choices=Moment)
    point_label = models.CharField(
        max_length=20, blank=True, help_text="The photo point on the drawing, such as P1."
    )
    note = models.CharField(max_length=200, blank=True)
    sha256 = models.CharField(max_length=64)
    size_bytes = models.PositiveBigIntegerField()
    media_type = models.CharField(max_length=40)
    original_name = models.CharField(max_length=200, help_text="Where storage keeps the bytes.")
    phone_taken_at = models.DateTimeField(null=True, blank=True)
    corrected_at = corrected_from("phone_taken_at")
    sent_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    received_at = models.DateTimeField(default=timezone.now, editable=False)
    client_key = models.UUIDField(default=uuid.uuid4, unique=True)
    replaces = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by"
    )

    objects = JobEvidenceQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["job", "sha256"],
                name="photo_once_a_job",
                violation_error_message="This very photo is already stored for this job.",
            )
        ]
        triggers = [
            *kept_but_for_erasure("photo_is_kept", words=["note"], words_hashed="true"),
            frozen_once_stopped("photo_frozen", "NEW.moment <> 'other'"),
        ]


class PhotoInspectionQuerySet(JobScopedQuerySet):
    job_path = "photo__job"


class PhotoInspection(Salted, WordsHashed):
    """What the intake task read from a photo and thought of it. Reasons, never a silent no."""

    photo = models.ForeignKey(Photo, on_delete=models.PROTECT, related_name="inspections")
    inspector_version = models.CharField(max_length=20)
    readable = models.BooleanField()
    width_px = models.PositiveIntegerField(null=True)
    height_px = models.PositiveIntegerField(null=True)
    exif_taken_at = models.DateTimeField(null=True)
    exif_time_source = models.CharField(
        max_length=8,
        blank=True,
        help_text="Where its zone comes from: offset, gps, or assumed.",
    )
    exif_latitude_deg = models.FloatField(null=True)
    exif_longitude_deg = models.FloatField(null=True)
    device = models.CharField(max_length=80, blank=True)
    perceptual_hash = models.BigIntegerField(null=True, help_text="64 bits, signed.")
    warnings = models.JSONField(default=list, help_text="List of {code, text}.")
    display_name = models.CharField(max_length=200, blank=True)
    thumb_name = models.CharField(max_length=200, blank=True)
    inspected_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = PhotoInspectionQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["photo", "inspector_version"], name="photo_inspected_once_a_version"
            )
        ]
        triggers = kept_but_for_erasure(
            "photo_inspection_is_kept",
            exif_latitude_deg="NULL",
            exif_longitude_deg="NULL",
            words_hashed="true",
        )


class DepthReading(Salted, WordsHashed, ByPhoneClock):
    """A depth measured at a point of the loft, in millimetres."""

    class Allowance(models.TextChoices):
        NONE = "", "Open floor"
        EAVES = "eaves", "Eaves"
        TANK = "tank", "Beneath a tank"
        DECK = "deck", "Under a deck"

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="depth_readings")
    area = models.ForeignKey(LoftArea, on_delete=models.PROTECT, related_name="depth_readings")
    x_mm = models.FloatField()
    y_mm = models.FloatField()
    depth_mm = models.FloatField(validators=[MinValueValidator(0), MaxValueValidator(1500)])
    allowance = models.CharField(
        max_length=8, choices=Allowance, default=Allowance.NONE, blank=True
    )
    measured_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    measured_at = models.DateTimeField(help_text="By the phone's clock.")
    corrected_at = corrected_from("measured_at")
    received_at = models.DateTimeField(default=timezone.now, editable=False)
    client_key = models.UUIDField(default=uuid.uuid4, unique=True)
    correction_reason = models.CharField(max_length=200, blank=True)
    replaces = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by"
    )

    objects = EvidenceQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(depth_mm__range=(0, 1500)),
                name="depth_between_0_and_1500_mm",
                violation_error_message="depth_mm: a depth lies between 0 and 1500 mm.",
            ),
            models.CheckConstraint(
                condition=models.Q(replaces__isnull=True) | ~models.Q(correction_reason=""),
                name="depth_correction_has_reason",
                violation_error_message="correction_reason: say why the reading is corrected.",
            ),
        ]
        triggers = [
            *kept_but_for_erasure(
                "depth_reading_is_kept", words=["correction_reason"], words_hashed="true"
            ),
            frozen_once_stopped("depth_reading_frozen"),
        ]


class Handover(Salted, WordsHashed, ByPhoneClock):
    """The householder's signature and the cautions that were given."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="handovers")
    signed_name = models.CharField(max_length=120)
    signature_svg = models.TextField(help_text="The strokes of the signature as an SVG path.")
    cautions_given = ArrayField(models.CharField(max_length=40), default=list)
    all_done = models.BooleanField(default=True)
    not_done_reason = models.CharField(max_length=300, blank=True)
    taken_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    signed_at = models.DateTimeField(help_text="By the phone's clock.")
    corrected_at = corrected_from("signed_at")
    received_at = models.DateTimeField(default=timezone.now, editable=False)
    client_key = models.UUIDField(default=uuid.uuid4, unique=True)
    replaces = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by"
    )

    objects = EvidenceQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(all_done=True) | ~models.Q(not_done_reason=""),
                name="handover_partly_done_has_reason",
                violation_error_message="not_done_reason: say what was not done and why.",
            )
        ]
        triggers = [
            *kept_but_for_erasure(
                "handover_is_kept",
                words=["not_done_reason"],
                signed_name=f"'{ERASED}'",
                signature_svg="''",
                words_hashed="true",
            ),
            frozen_once_stopped("handover_frozen"),
        ]
