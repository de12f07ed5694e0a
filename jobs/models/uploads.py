"""Photos on their way: what has arrived of each so far. Gone when they expire; no evidence."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import Any, Self

from django.db import models
from django.utils import timezone

from jobs.models.evidence import Photo
from jobs.models.people import User
from jobs.models.visits import Visit


class UploadQuerySet(models.QuerySet[Any]):
    def visible_to(self, user: User | Any) -> Self:
        """A person's own, at visits that are still its crew's. Nobody sends for another."""
        return self.filter(
            sent_by_id=user.pk, visit_id__in=Visit.objects.visible_to(user).values("pk")
        )

    def unfinished(self, now: datetime) -> Self:
        return self.filter(photo__isnull=True, expires_at__gt=now)

    def expired(self, now: datetime) -> Self:
        return self.filter(expires_at__lte=now)


class Upload(models.Model):
    """One photo under way, by the tus protocol.

    `offset_bytes` counts what is fsynced or in object storage, and nothing else. It reaches
    `length_bytes` only in the transaction that makes the Photo: a whole upload has its photo.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="uploads")
    sent_by = models.ForeignKey(User, on_delete=models.CASCADE, related_name="+")
    length_bytes = models.PositiveBigIntegerField()
    offset_bytes = models.PositiveBigIntegerField(default=0)
    metadata = models.TextField(blank=True, help_text="Upload-Metadata as it was sent.")
    began_at = models.DateTimeField(default=timezone.now, editable=False)
    expires_at = models.DateTimeField()
    photo = models.ForeignKey(
        Photo, null=True, blank=True, on_delete=models.PROTECT, related_name="uploads"
    )
    repeats_photo = models.BooleanField(
        default=False, help_text="Whether the photo was stored before, by another upload."
    )

    objects = UploadQuerySet.as_manager()

    class Meta:
        ordering = ["began_at"]
        indexes = [models.Index(fields=["expires_at"], name="upload_expires")]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(length_bytes__gt=0),
                name="upload_is_not_empty",
                violation_error_message="Upload-Length: an empty file is no photo.",
            ),
            models.CheckConstraint(
                condition=models.Q(offset_bytes__lte=models.F("length_bytes")),
                name="upload_within_its_length",
                violation_error_message="Upload-Offset: more arrived than was announced.",
            ),
            models.CheckConstraint(
                condition=models.Q(offset_bytes__lt=models.F("length_bytes"))
                | models.Q(photo__isnull=False),
                name="whole_upload_has_its_photo",
                violation_error_message="An upload is whole only when its photo is stored.",
            ),
        ]

    @property
    def is_finished(self) -> bool:
        return self.photo_id is not None


class UploadPiece(models.Model):
    """Bytes of an upload that are stored, from `starts_at_byte` on. name: where they lie."""

    upload = models.ForeignKey(Upload, on_delete=models.CASCADE, related_name="pieces")
    starts_at_byte = models.PositiveBigIntegerField()
    size_bytes = models.PositiveBigIntegerField()
    name = models.CharField(max_length=200)

    class Meta:
        ordering = ["upload", "starts_at_byte"]
        constraints = [
            models.UniqueConstraint(
                fields=["upload", "starts_at_byte"],
                name="upload_piece_once",
                violation_error_message="Upload-Offset: this piece is already stored.",
            )
        ]
