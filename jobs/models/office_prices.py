"""What a company's office lets things cost in its plans, change by change."""

from __future__ import annotations

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils import timezone

from jobs.managers import CompanyScopedQuerySet
from jobs.models.organisations import Company
from jobs.models.people import User
from jobs.models.phone_records import kept_as_written

# Two weeks at the wheel: whatever is dearer is as good as forbidden.
DEAREST_MIN = 20_000
_A_PRICE = (MinValueValidator(0), MaxValueValidator(DEAREST_MIN))
PRICES = (
    "late_day_min",
    "overtime_hour_min",
    "crew_day_min",
    "left_out_1_min",
    "left_out_2_min",
    "left_out_3_min",
    "left_out_4_min",
    "left_out_5_min",
    "other_time_min",
    "other_day_min",
    "other_crew_min",
    "not_preferred_min",
)


def _price(help_text: str) -> models.FloatField:
    return models.FloatField(validators=_A_PRICE, help_text=f"{help_text} [min of driving].")


class OfficePrices(models.Model):
    """The prices that new plans of a company begin with, from one moment on.

    Each is told in minutes of driving. A change is a new row with the next `number`; none is ever
    changed, so that a plan can name the prices it was made by.
    """

    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="office_prices")
    number = models.PositiveIntegerField(help_text="First, second... of the company.")
    late_day_min = _price("A visit of usual priority ends a day after it was due")
    overtime_hour_min = _price("A crew works an hour after its day")
    crew_day_min = _price("A crew is sent out on a day at all")
    left_out_1_min = _price("A visit that can wait (priority 1) is left out")
    left_out_2_min = _price("A visit of priority 2 is left out")
    left_out_3_min = _price("A visit of usual priority (3) is left out")
    left_out_4_min = _price("A visit of priority 4 is left out")
    left_out_5_min = _price("A visit that comes first (priority 5) is left out")
    other_time_min = _price("A promised visit moves within its day")
    other_day_min = _price("A promised visit moves to another day")
    other_crew_min = _price("Another crew comes than was promised")
    not_preferred_min = _price("Another crew goes than the preferred one")
    booked_percent = models.FloatField(
        validators=[MinValueValidator(0), MaxValueValidator(100)],
        help_text="Moving what is booked and not promised, of moving what is promised [%].",
    )
    note = models.CharField(max_length=200, blank=True, help_text="Why they were changed.")
    set_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = CompanyScopedQuerySet.as_manager()

    class Meta:
        ordering = ["company", "-number"]
        constraints = [
            models.UniqueConstraint(
                fields=["company", "number"],
                name="office_prices_one_after_another",
                violation_error_message=(
                    "follows: somebody else changed the prices meanwhile. Look at theirs first."
                ),
            ),
            models.UniqueConstraint(fields=["id", "company"], name="office_prices_id_company"),
            models.CheckConstraint(
                condition=Q(booked_percent__range=(0, 100))
                & Q(**{f"{name}__range": (0, DEAREST_MIN) for name in PRICES}),
                name="office_prices_can_be",
                violation_error_message=(
                    f"Each price is 0 to {DEAREST_MIN:,} minutes of driving, and a share 0 to "
                    "100 %."
                ),
            ),
        ]
        triggers = kept_as_written("office_prices_are_kept")

    def __str__(self) -> str:
        return f"Prices {self.number} of {self.company}"
