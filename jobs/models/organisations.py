"""Companies that insulate lofts and the schemes they do it under."""

from __future__ import annotations

import pghistory
from django.db import models

from jobs.managers import CompanyQuerySet, SchemeQuerySet


@pghistory.track()
class Company(models.Model):
    """A retrofit company. Sees its own records and nobody else's."""

    name = models.CharField(max_length=120, unique=True)
    slug = models.SlugField(max_length=60, unique=True)
    is_invented = models.BooleanField(
        default=False, help_text="True for demo companies, which every page says are invented."
    )
    office_phone = models.CharField(
        max_length=40,
        blank=True,
        help_text="What a crew rings when it stops work; kept on its phones. Empty if none is set.",
    )
    created_at = models.DateTimeField(auto_now_add=True)
    version = models.PositiveIntegerField(default=1)

    objects = CompanyQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        verbose_name_plural = "companies"

    def __str__(self) -> str:
        return self.name


@pghistory.track()
class Scheme(models.Model):
    """A programme that pays for or requires the work and audits it."""

    name = models.CharField(max_length=120, unique=True)
    code = models.SlugField(max_length=20, unique=True)
    starts_on = models.DateField()
    ends_on = models.DateField(null=True, blank=True)
    remedy_weeks = models.PositiveSmallIntegerField(
        default=8, help_text="Weeks a company has to put a shortfall right."
    )
    companies = models.ManyToManyField(Company, related_name="schemes", blank=True)
    version = models.PositiveIntegerField(default=1)

    objects = SchemeQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(ends_on__isnull=True)
                | models.Q(ends_on__gte=models.F("starts_on")),
                name="scheme_ends_after_start",
                violation_error_message="A scheme cannot end before it starts.",
            )
        ]

    def __str__(self) -> str:
        return self.name


@pghistory.track(pghistory.InsertEvent(), pghistory.DeleteEvent(), obj_field=None)
class SchemeCompany(Scheme.companies.through):  # type: ignore[misc, name-defined]
    """That a company works under a scheme, so that joining and leaving have a history."""

    class Meta:
        proxy = True
