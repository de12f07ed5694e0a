"""Depots where vans are loaded, what they keep, and what is on order for them."""

from __future__ import annotations

import uuid

import pghistory
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils import timezone

from jobs.managers import CompanyScopedQuerySet
from jobs.models.organisations import Company
from jobs.models.people import User
from jobs.models.properties import Nation
from jobs.stock_querysets import DepotQuerySet, StockOrderQuerySet


@pghistory.track()
class Depot(models.Model):
    """Where vans are loaded. Its nation says which bank holidays it keeps."""

    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="depots")
    name = models.CharField(max_length=60)
    address = models.CharField(max_length=200, blank=True)
    postcode = models.CharField(max_length=8, blank=True)
    nation = models.CharField(max_length=20, choices=Nation)
    latitude_deg = models.FloatField(
        null=True, blank=True, validators=[MinValueValidator(49.0), MaxValueValidator(61.0)]
    )
    longitude_deg = models.FloatField(
        null=True, blank=True, validators=[MinValueValidator(-8.7), MaxValueValidator(2.0)]
    )
    reload_minutes = models.PositiveSmallIntegerField(
        default=25,
        validators=[MaxValueValidator(240)],
        help_text="How long loading a van takes. 25 min is common practice, no published source.",
    )
    is_active = models.BooleanField(default=True)
    version = models.PositiveIntegerField(default=1)

    objects = DepotQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(
                fields=["company", "name"],
                name="depot_name_unique",
                violation_error_message="name: you have a depot of this name already.",
            ),
            models.UniqueConstraint(fields=["id", "company"], name="depot_id_company"),
            models.CheckConstraint(
                condition=models.Q(latitude_deg__isnull=True, longitude_deg__isnull=True)
                | models.Q(latitude_deg__isnull=False, longitude_deg__isnull=False),
                name="depot_position_is_whole",
                violation_error_message=(
                    "longitude_deg: give both latitude and longitude, or leave both empty."
                ),
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Weekday(models.IntegerChoices):
    MONDAY = 0, "Monday"
    TUESDAY = 1, "Tuesday"
    WEDNESDAY = 2, "Wednesday"
    THURSDAY = 3, "Thursday"
    FRIDAY = 4, "Friday"
    SATURDAY = 5, "Saturday"
    SUNDAY = 6, "Sunday"


@pghistory.track(pghistory.InsertEvent(), pghistory.UpdateEvent(), pghistory.DeleteEvent())
class DepotHours(models.Model):
    """When a depot is open on a weekday; a weekday without a row is closed."""

    depot = models.ForeignKey(Depot, on_delete=models.CASCADE, related_name="hours")
    weekday = models.PositiveSmallIntegerField(choices=Weekday)
    opens_at = models.TimeField(default="07:00")
    closes_at = models.TimeField(default="17:00")

    class Meta:
        ordering = ["weekday"]
        constraints = [
            models.UniqueConstraint(fields=["depot", "weekday"], name="depot_hours_once_a_weekday"),
            models.CheckConstraint(
                condition=models.Q(weekday__lte=6),
                name="depot_hours_of_a_weekday",
                violation_error_message="weekday: give 0 (Monday) to 6 (Sunday).",
            ),
            models.CheckConstraint(
                condition=models.Q(closes_at__gt=models.F("opens_at")),
                name="depot_closes_after_it_opens",
                violation_error_message="closes_at: give a time later than the opening.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_weekday_display()} {self.opens_at:%H:%M}-{self.closes_at:%H:%M}"


@pghistory.track()
class StockItem(models.Model):
    """What a depot keeps, counted in whole units: a roll, a piece, a metre, a tube.

    `code` is the engine's: a roll type of the catalogue or an item of the accessories, which is
    how a load list finds it. It comes in packs of `units_per_pack`.
    """

    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="stock_items")
    code = models.CharField(max_length=40)
    name = models.CharField(max_length=80)
    unit = models.CharField(max_length=12, default="roll")
    units_per_pack = models.PositiveIntegerField(
        default=1, validators=[MinValueValidator(1), MaxValueValidator(10_000)]
    )
    pack_volume_m3 = models.FloatField(
        default=0.0, validators=[MinValueValidator(0.0), MaxValueValidator(50.0)]
    )
    lead_time_days = models.PositiveSmallIntegerField(
        default=3,
        validators=[MaxValueValidator(120)],
        help_text="Working days from the order to the delivery.",
    )
    reorder_point = models.PositiveIntegerField(
        default=0, help_text="Order before fewer units than this would be left."
    )
    supplier = models.CharField(max_length=120, blank=True)
    is_active = models.BooleanField(default=True)
    version = models.PositiveIntegerField(default=1)

    objects = CompanyScopedQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(
                fields=["company", "code"],
                name="stock_item_code_unique",
                violation_error_message="code: you keep an item of this code already.",
            ),
            models.UniqueConstraint(fields=["id", "company"], name="stock_item_id_company"),
            models.CheckConstraint(
                condition=models.Q(units_per_pack__gte=1),
                name="stock_item_pack_holds_something",
                violation_error_message="units_per_pack: a pack holds at least one unit.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


@pghistory.track()
class StockOrder(models.Model):
    """Units that were ordered for a depot, and the day they are due."""

    class State(models.TextChoices):
        OPEN = "open", "On order"
        ARRIVED = "arrived", "Arrived"
        CANCELLED = "cancelled", "Cancelled"

    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="stock_orders")
    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="orders")
    item = models.ForeignKey(StockItem, on_delete=models.PROTECT, related_name="orders")
    quantity = models.PositiveIntegerField(validators=[MinValueValidator(1)])
    due_on = models.DateField()
    state = models.CharField(max_length=10, choices=State, default=State.OPEN)
    note = models.CharField(max_length=120, blank=True)
    ordered_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    ordered_at = models.DateTimeField(default=timezone.now, editable=False)
    client_key = models.UUIDField(
        default=uuid.uuid4,
        unique=True,
        error_messages={"unique": "This order was stored already."},
    )
    version = models.PositiveIntegerField(default=1)

    objects = StockOrderQuerySet.as_manager()

    class Meta:
        ordering = ["due_on", "id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(quantity__gte=1),
                name="stock_order_of_something",
                violation_error_message="quantity: order at least one unit.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.quantity} {self.item} due {self.due_on:%-d %b %Y}"
