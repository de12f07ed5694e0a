"""Answers already given to creates that carried an Idempotency-Key."""

from __future__ import annotations

from django.db import models

from jobs.models.people import User


class IdempotentCreate(models.Model):
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="+")
    key = models.CharField(max_length=100)
    path = models.CharField(max_length=300)
    request_sha256 = models.CharField(max_length=64)
    status_code = models.PositiveSmallIntegerField()
    body = models.JSONField()
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["user", "key"], name="idempotency_key_once_a_person")
        ]
