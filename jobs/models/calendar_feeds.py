"""Secret addresses under which a crew's visits can be read as a calendar."""

from __future__ import annotations

from django.db import models
from django.utils import timezone

from jobs.managers import CompanyScopedQuerySet
from jobs.models.crews import Crew
from jobs.models.organisations import Company
from jobs.models.people import User


class CalendarFeed(models.Model):
    """A calendar of one crew. Only the SHA-256 of its token is kept: nobody can read it again.

    Renewing revokes it and makes another.
    """

    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="calendar_feeds")
    crew = models.ForeignKey(Crew, on_delete=models.CASCADE, related_name="calendar_feeds")
    token_sha256 = models.CharField(max_length=64, unique=True)
    made_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField(default=timezone.now, editable=False)
    revoked_at = models.DateTimeField(null=True, blank=True)
    last_read_at = models.DateTimeField(null=True, blank=True)

    objects = CompanyScopedQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["crew"],
                condition=models.Q(revoked_at__isnull=True),
                name="crew_has_one_calendar",
                violation_error_message="crew: this crew has a calendar address: renew it.",
            )
        ]

    def __str__(self) -> str:
        return f"Calendar of {self.crew}"
