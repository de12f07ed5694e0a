"""The roll types a company lays: its own wool, which its lofts are planned with."""

from __future__ import annotations

import pghistory
from django.contrib.postgres.fields import ArrayField
from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django.db import models
from django.db.models import Q
from django.utils import timezone

from calculations.catalogue import RollType
from jobs.managers import CompanyScopedQuerySet
from jobs.models.organisations import Company
from jobs.models.people import User

# The engine's own bounds (`calculations.catalogue.RollType`), which a test compares with these, and
# what is said to who does not keep them: mostly a slip of the unit.
BOUNDS: dict[str, tuple[float, float, str]] = {
    "thickness_mm": (20, 400, "Give 20 to 400 mm: 17 cm is 170."),
    "width_mm": (200, 3000, "Give 200 to 3,000 mm: 1.14 m is 1140."),
    "length_mm": (1000, 30_000, "Give 1,000 to 30,000 mm: 5 m is 5000."),
    "conductivity_w_mk": (0.02, 0.08, "Give 0.02 to 0.08 W/mK: 44 mW/mK is 0.044."),
    "cost": (0, 100_000, "Give what one roll costs, 0 to 100,000."),
    "packed_volume_m3": (0, 10, "Give 0 to 10 m³ for one roll: 190 litres are 0.19."),
}
SPLITS = (2, 3, 4, 5, 6)
# Accessories are known by words in small letters, which a code of this form never is.
CODE = r"^[A-Z0-9][A-Z0-9.-]{0,19}$"


def _measured(name: str, help_text: str, **more: float) -> models.FloatField:
    low, high, remedy = BOUNDS[name]
    return models.FloatField(
        validators=[MinValueValidator(low, remedy), MaxValueValidator(high, remedy)],
        help_text=help_text,
        **more,
    )


def _within(name: str) -> models.CheckConstraint:
    low, high, remedy = BOUNDS[name]
    return models.CheckConstraint(
        condition=Q(**{f"{name}__range": (low, high)}),
        name=f"company_roll_type_{name}",
        violation_error_message=f"{name}: {remedy}",
    )


class CompanyRollTypeQuerySet(CompanyScopedQuerySet):
    def in_use(self) -> CompanyRollTypeQuerySet:
        """Those that new layer plans are made with, in the order they were entered."""
        return self.filter(is_active=True).order_by("id")


@pghistory.track()
class CompanyRollType(models.Model):
    """One type of roll as its maker declares it, on sale to this company.

    A layer plan keeps what it was made with, so that an edit reaches new plans alone.
    """

    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="roll_types")
    code = models.CharField(
        max_length=20,
        validators=[
            RegexValidator(
                CODE,
                "Give up to 20 capital letters, figures, dots and hyphens, such as W170.",
            )
        ],
    )
    name = models.CharField(max_length=80)
    thickness_mm = _measured("thickness_mm", "Of the wool as it lies, once it has recovered.")
    width_mm = _measured("width_mm", "Of the whole roll.")
    length_mm = _measured("length_mm", "Unrolled.")
    conductivity_w_mk = _measured("conductivity_w_mk", "Declared by its maker, as on the label.")
    splits = ArrayField(
        models.PositiveSmallIntegerField(),
        default=list,
        blank=True,
        help_text="Equal parts it is perforated for: 2 for halves, 3 for thirds.",
    )
    cost = _measured("cost", "Of one roll, in the company's currency.", default=0.0)
    packed_volume_m3 = _measured("packed_volume_m3", "Of one roll as delivered.", default=0.0)
    declared_in = models.CharField(
        max_length=120,
        blank=True,
        help_text="Where its maker declares the conductivity: a number, a date, a page.",
    )
    is_active = models.BooleanField(default=True)
    entered_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField(default=timezone.now, editable=False)
    version = models.PositiveIntegerField(default=1)

    objects = CompanyRollTypeQuerySet.as_manager()

    class Meta:
        ordering = ["-is_active", "name", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["company", "code"],
                name="company_roll_type_code_unique",
                violation_error_message=(
                    "code: you have a roll type of this code already. Give another, or change "
                    "that one."
                ),
            ),
            models.CheckConstraint(
                condition=Q(code__regex=CODE),
                name="company_roll_type_code_form",
                violation_error_message=(
                    "code: give up to 20 capital letters, figures, dots and hyphens."
                ),
            ),
            models.CheckConstraint(
                condition=Q(name__regex=r"\S"),
                name="company_roll_type_has_a_name",
                violation_error_message="name: give the roll type a name.",
            ),
            _within("thickness_mm"),
            _within("width_mm"),
            _within("length_mm"),
            _within("conductivity_w_mk"),
            _within("cost"),
            _within("packed_volume_m3"),
            models.CheckConstraint(
                condition=Q(splits__contained_by=list(SPLITS)),
                name="company_roll_type_splits",
                violation_error_message="splits: give numbers of equal parts from 2 to 6.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def roll(self) -> RollType:
        """As the engine takes it."""
        return RollType(
            code=self.code,
            name=self.name,
            thickness_mm=self.thickness_mm,
            width_mm=self.width_mm,
            length_mm=self.length_mm,
            conductivity_w_mk=self.conductivity_w_mk,
            splits=tuple(self.splits),
            cost=self.cost,
            packed_volume_m3=self.packed_volume_m3,
        )
