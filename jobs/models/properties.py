"""Homes whose lofts are insulated."""

from __future__ import annotations

import pghistory
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from jobs.managers import PropertyQuerySet
from jobs.models.organisations import Company
from jobs.models.phone_records import kept_but_for_erasure

# What is known of who lives in a home: forgotten when it is erased, in its history too.
OF_THE_HOUSEHOLD = ("householder_name", "householder_phone", "householder_email", "access_notes")


class Nation(models.TextChoices):
    ENGLAND = "england", "England"
    WALES = "wales", "Wales"
    SCOTLAND = "scotland", "Scotland"
    NORTHERN_IRELAND = "northern_ireland", "Northern Ireland"


@pghistory.track(
    append_only=False,
    meta={
        "triggers": kept_but_for_erasure(
            "home_history_is_kept",
            of="'jobs_property', OLD.pgh_obj_id",
            salted=False,
            **dict.fromkeys(OF_THE_HOUSEHOLD, "''"),
        )
    },
)
class Property(models.Model):
    """One home of a company's intake, known by the company's own reference."""

    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="properties")
    reference = models.CharField(
        max_length=40, help_text="Your own reference for this home; unique in your company."
    )
    address_line_1 = models.CharField(max_length=120)
    address_line_2 = models.CharField(max_length=120, blank=True)
    town = models.CharField(max_length=80)
    postcode = models.CharField(max_length=8)
    nation = models.CharField(max_length=20, choices=Nation)
    nation_confirmed = models.BooleanField(
        default=False,
        help_text="Someone checked the nation of a postcode area that straddles a border.",
    )
    latitude_deg = models.FloatField(
        null=True, blank=True, validators=[MinValueValidator(49.0), MaxValueValidator(61.0)]
    )
    longitude_deg = models.FloatField(
        null=True, blank=True, validators=[MinValueValidator(-8.7), MaxValueValidator(2.0)]
    )
    householder_name = models.CharField(max_length=120, blank=True)
    householder_phone = models.CharField(max_length=30, blank=True)
    householder_email = models.EmailField(blank=True)
    access_notes = models.TextField(blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    updated_at = models.DateTimeField(auto_now=True)

    objects = PropertyQuerySet.as_manager()

    class Meta:
        ordering = ["reference"]
        verbose_name_plural = "properties"
        constraints = [
            models.UniqueConstraint(
                fields=["company", "reference"],
                name="property_reference_unique_in_company",
                violation_error_message="This company already has a property with this reference.",
            ),
            # The target of composite foreign keys that keep a job and its property together.
            models.UniqueConstraint(fields=["id", "company"], name="property_id_company"),
            models.CheckConstraint(
                condition=models.Q(latitude_deg__isnull=True, longitude_deg__isnull=True)
                | models.Q(latitude_deg__range=(49.0, 61.0), longitude_deg__range=(-8.7, 2.0)),
                name="property_position_in_uk",
                violation_error_message=(
                    "latitude_deg and longitude_deg: give both, inside the United Kingdom, "
                    "or leave both empty."
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.address_line_1}, {self.town}"

    @property
    def address(self) -> str:
        parts = [self.address_line_1, self.address_line_2, self.town, self.postcode]
        return ", ".join(part for part in parts if part)
