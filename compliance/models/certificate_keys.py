"""Keys that certificates were signed with: their public side, kept for good."""

from __future__ import annotations

from django.db import models
from django.utils import timezone

from jobs.models.evidence import kept_as_written


class CertificateKey(models.Model):
    """The public certificate of a signing key. Outlives the key, so old files stay verifiable."""

    class Kind(models.TextChoices):
        MADE = "made", "made at the first start"
        FILE = "file", "from a file"
        DEVICE = "device", "on a device (PKCS#11)"

    fingerprint = models.CharField(
        max_length=64, unique=True, help_text="SHA-256 of the certificate in DER."
    )
    kind = models.CharField(max_length=8, choices=Kind)
    subject = models.CharField(max_length=400)
    issuer = models.CharField(max_length=400)
    algorithm = models.CharField(max_length=40)
    valid_from = models.DateTimeField()
    valid_until = models.DateTimeField()
    pem = models.TextField(help_text="The certificate, then the chain above it.")
    first_used_at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        ordering = ["id"]
        triggers = kept_as_written("certificate_key_is_kept")

    def __str__(self) -> str:
        return f"Key {self.fingerprint[:16]}"
