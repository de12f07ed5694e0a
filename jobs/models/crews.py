"""Crews, the operatives in them, and their vans."""

from __future__ import annotations

import pghistory
from django.contrib.postgres.fields import ArrayField
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from jobs.managers import CompanyScopedQuerySet
from jobs.models.depots import Depot
from jobs.models.organisations import Company
from jobs.models.people import User
from jobs.models.properties import Nation

WEEKDAYS = ((1, "Mon"), (2, "Tue"), (3, "Wed"), (4, "Thu"), (5, "Fri"), (6, "Sat"), (7, "Sun"))


def monday_to_friday() -> list[int]:
    return [1, 2, 3, 4, 5]


class Skill(models.TextChoices):
    INSULATION = "insulation", "Loft insulation"
    SURVEYING = "surveying", "Surveying"
    ASBESTOS_AWARENESS = "asbestos_awareness", "Asbestos awareness"
    ELECTRICAL = "electrical", "Electrical (competent person)"
    RAISED_DECK = "raised_deck", "Working with a raised deck"


@pghistory.track()
class Van(models.Model):
    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="vans")
    name = models.CharField(max_length=40)
    load_volume_m3 = models.FloatField(validators=[MinValueValidator(0.5)])
    version = models.PositiveIntegerField(default=1)

    objects = CompanyScopedQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(
                fields=["company", "name"],
                name="van_name_unique",
                violation_error_message="name: you have a van of this name already.",
            ),
            models.UniqueConstraint(fields=["id", "company"], name="van_id_company"),
        ]

    def __str__(self) -> str:
        return self.name


@pghistory.track()
class Crew(models.Model):
    """People who work together. A surveyor working alone is a crew of one."""

    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="crews")
    name = models.CharField(max_length=60)
    van = models.ForeignKey(
        Van, null=True, blank=True, on_delete=models.SET_NULL, related_name="usual_crews"
    )
    depot = models.ForeignKey(
        Depot,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="crews",
        help_text="Where its van is loaded.",
    )
    base_postcode = models.CharField(max_length=8, blank=True)
    base_latitude_deg = models.FloatField(
        null=True, blank=True, validators=[MinValueValidator(49.0), MaxValueValidator(61.0)]
    )
    base_longitude_deg = models.FloatField(
        null=True, blank=True, validators=[MinValueValidator(-8.7), MaxValueValidator(2.0)]
    )
    day_starts_at = models.TimeField(default="08:00")
    day_ends_at = models.TimeField(default="16:30")
    works_on = ArrayField(
        models.PositiveSmallIntegerField(choices=WEEKDAYS),
        default=monday_to_friday,
        help_text="Days of the week, Monday is 1 (ISO 8601).",
    )
    nation = models.CharField(
        max_length=20,
        choices=Nation,
        default=Nation.ENGLAND,
        help_text="Whose bank holidays the crew has.",
    )
    break_minutes = models.PositiveSmallIntegerField(
        default=30,
        validators=[MaxValueValidator(180)],
        help_text="Length of the break; 0 for none.",
    )
    break_earliest = models.TimeField(default="11:30")
    break_latest = models.TimeField(default="14:00", help_text="By when the break must have begun.")
    overtime_minutes = models.PositiveSmallIntegerField(
        default=0,
        validators=[MaxValueValidator(300)],
        help_text="How much longer than its day the crew may be planned.",
    )
    is_active = models.BooleanField(default=True)
    version = models.PositiveIntegerField(default=1)

    objects = CompanyScopedQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(
                fields=["company", "name"],
                name="crew_name_unique",
                violation_error_message="name: you have a crew of this name already.",
            ),
            models.UniqueConstraint(fields=["id", "company"], name="crew_id_company"),
        ]

    def __str__(self) -> str:
        return self.name


@pghistory.track()
class Operative(models.Model):
    """A person of a crew; has a sign-in when it keeps records on site itself."""

    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="operatives")
    crew = models.ForeignKey(
        Crew, null=True, blank=True, on_delete=models.SET_NULL, related_name="operatives"
    )
    user = models.OneToOneField(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="operative"
    )
    name = models.CharField(max_length=80)
    card_reference = models.CharField(
        max_length=40, blank=True, help_text="Certification reference a scheme asks for."
    )
    skills = ArrayField(models.CharField(max_length=24, choices=Skill), default=list, blank=True)
    leads_crew = models.BooleanField(default=False)
    version = models.PositiveIntegerField(default=1)

    objects = CompanyScopedQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(
                fields=["crew"],
                condition=models.Q(leads_crew=True),
                name="crew_has_one_lead",
                violation_error_message="This crew already has a lead.",
            )
        ]

    def __str__(self) -> str:
        return self.name
