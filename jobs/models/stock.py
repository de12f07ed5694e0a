"""The ledger of a depot's stock: what came, went, came back, was counted or spoilt.

Movements are appended and never changed. Each takes the row of its balance (one a depot and
item) before it is written, so that movements of the same item take turns, and the check on that
row refuses stock below zero, whoever writes and by whichever way.
"""

from __future__ import annotations

import uuid

import pgtrigger
from django.db import models
from django.db.models import Q
from django.utils import timezone

from jobs.models.crews import Crew, Van
from jobs.models.depots import Depot, StockItem, StockOrder
from jobs.models.evidence import kept_as_written
from jobs.models.organisations import Company
from jobs.models.people import User
from jobs.stock_querysets import StockBalanceQuerySet, StockMovementQuerySet, VanLoadingQuerySet


class StockBalance(models.Model):
    """Units of an item at a depot now, and how many movements made them. Kept by triggers."""

    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="balances")
    item = models.ForeignKey(StockItem, on_delete=models.PROTECT, related_name="balances")
    quantity = models.IntegerField(default=0)
    movements = models.PositiveIntegerField(default=0)

    objects = StockBalanceQuerySet.as_manager()

    class Meta:
        ordering = ["item__name"]
        constraints = [
            models.UniqueConstraint(fields=["depot", "item"], name="stock_balance_once"),
            models.CheckConstraint(
                condition=Q(quantity__gte=0),
                name="stock_never_below_zero",
                violation_error_message=(
                    "quantity: the depot holds less than that. Take fewer, or record the delivery "
                    "or the stock-take that is missing."
                ),
            ),
        ]
        triggers = [
            pgtrigger.Trigger(
                name="stock_balance_follows_movements",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert | pgtrigger.Update | pgtrigger.Delete,
                func="""
                    IF pg_trigger_depth() < 2 OR TG_OP = 'DELETE' THEN
                        RAISE EXCEPTION 'Stock changes by movements only: record one.'
                            USING ERRCODE = 'restrict_violation';
                    END IF;
                    RETURN NEW;
                """,
            )
        ]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.item_id} at {self.depot_id}"


class VanLoading(models.Model):
    """One load of a crew's day, as it went onto the van.

    `lines`: what the load list asked for and what was taken, each
    `{"item", "name", "unit", "expected", "loaded", "reason"}` in whole units. `visits`: what it
    carries for each, as `{"visit": id, "rolls": [line...], "accessories": [line...]}`. The packed
    rolls that were taken fit into its van (a single roll excepted, which goes alone): a trigger
    holds it. Accessories and kit find their place beside them and are not counted.
    """

    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="van_loadings")
    crew = models.ForeignKey(Crew, on_delete=models.PROTECT, related_name="loadings")
    day = models.DateField()
    number = models.PositiveSmallIntegerField(help_text="First, second... load of the day.")
    depot = models.ForeignKey(
        Depot, null=True, blank=True, on_delete=models.PROTECT, related_name="loadings"
    )
    van = models.ForeignKey(
        Van, null=True, blank=True, on_delete=models.PROTECT, related_name="loadings"
    )
    visits = models.JSONField(default=list)
    lines = models.JSONField(default=list)
    loaded_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    loaded_at = models.DateTimeField(default=timezone.now, editable=False)
    client_key = models.UUIDField(default=uuid.uuid4, unique=True)

    objects = VanLoadingQuerySet.as_manager()

    class Meta:
        ordering = ["day", "crew", "number"]
        constraints = [
            models.UniqueConstraint(
                fields=["crew", "day", "number"],
                name="van_loading_once",
                violation_error_message="number: this load is on the van already.",
            ),
            models.UniqueConstraint(fields=["id", "company"], name="van_loading_id_company"),
            models.CheckConstraint(
                condition=Q(number__gte=1),
                name="van_loading_counts_from_one",
                violation_error_message="number: the first load of a day is number 1.",
            ),
        ]
        triggers = [
            *kept_as_written("van_loading_is_kept"),
            pgtrigger.Trigger(
                name="van_loading_fits_the_van",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert,
                declare=[("van", "jobs_van"), ("packed", "RECORD")],
                func="""
                    SELECT * INTO van FROM jobs_van WHERE id = NEW.van_id;
                    SELECT sum(units) AS rolls, sum(units * m3_each) AS m3 INTO packed
                    FROM (
                        SELECT (line->>'loaded')::numeric AS units, max(each.m3) AS m3_each
                        FROM jsonb_array_elements(NEW.lines) line
                        JOIN (
                            SELECT roll->>'item' AS item, (roll->>'m3_each')::numeric AS m3
                            FROM jsonb_array_elements(NEW.visits) visit,
                                jsonb_array_elements(visit->'rolls') roll
                        ) each ON each.item = line->>'item'
                        GROUP BY line
                    ) taken;
                    IF packed.rolls > 1 AND packed.m3 > van.load_volume_m3::numeric + 0.001 THEN
                        RAISE EXCEPTION
                            'These rolls take % m³ packed and % holds % m³. Take fewer and say '
                            'why, or put right what the van holds.',
                            round(packed.m3, 1), van.name, round(van.load_volume_m3::numeric, 1)
                            USING ERRCODE = 'check_violation';
                    END IF;
                    RETURN NEW;
                """,
            ),
        ]

    def __str__(self) -> str:
        return f"Load {self.number} of {self.crew} on {self.day:%-d %b %Y}"


class StockMovement(models.Model):
    """Units that came to or left a depot. Stock rises by a positive `quantity`.

    Set by trigger: `effect` (what it changed: its quantity, less that of the movement it
    `replaces`), `number` (its place in the ledger of this depot and item, from 1) and
    `balance_after`. A correction carries the right quantity of the movement that it replaces.
    """

    class Kind(models.TextChoices):
        RECEIVED = "received", "Received"
        LOADED = "loaded", "Loaded"
        RETURNED = "returned", "Returned"
        COUNTED = "counted", "Stock-take"
        SPOILT = "spoilt", "Spoilt"

    company = models.ForeignKey(Company, on_delete=models.PROTECT, related_name="stock_movements")
    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="movements")
    item = models.ForeignKey(StockItem, on_delete=models.PROTECT, related_name="movements")
    kind = models.CharField(max_length=10, choices=Kind)
    quantity = models.IntegerField()
    effect = models.IntegerField(editable=False, default=0)
    number = models.PositiveIntegerField(editable=False, default=0)
    balance_after = models.IntegerField(editable=False, default=0)
    loading = models.ForeignKey(
        VanLoading, null=True, blank=True, on_delete=models.PROTECT, related_name="movements"
    )
    crew = models.ForeignKey(
        Crew, null=True, blank=True, on_delete=models.PROTECT, related_name="stock_movements"
    )
    van = models.ForeignKey(
        Van, null=True, blank=True, on_delete=models.PROTECT, related_name="stock_movements"
    )
    day = models.DateField(null=True, blank=True, help_text="The crew's day of a load or return.")
    order = models.ForeignKey(
        StockOrder, null=True, blank=True, on_delete=models.PROTECT, related_name="movements"
    )
    reason = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(default=timezone.now, editable=False)
    client_key = models.UUIDField(default=uuid.uuid4, unique=True)
    replaces = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by"
    )

    objects = StockMovementQuerySet.as_manager()

    class Meta:
        ordering = ["depot", "item", "number"]
        indexes = [models.Index(fields=["depot", "-at"], name="stock_movement_by_time")]
        constraints = [
            models.UniqueConstraint(
                fields=["depot", "item", "number"], name="stock_movement_has_its_place"
            ),
            models.CheckConstraint(
                condition=Q(kind="counted")
                | Q(kind__in=("received", "returned"), quantity__gt=0)
                | Q(kind__in=("loaded", "spoilt"), quantity__lt=0)
                | Q(replaces__isnull=False, quantity=0),
                name="stock_movement_sign_fits_kind",
                violation_error_message=(
                    "quantity: what comes in is above zero, what goes out below."
                ),
            ),
            models.CheckConstraint(
                condition=~Q(kind__in=("loaded", "returned"))
                | Q(crew__isnull=False, day__isnull=False),
                name="stock_movement_of_a_crews_day",
                violation_error_message="crew: name the crew and its day.",
            ),
            models.CheckConstraint(
                condition=Q(replaces__isnull=True) | ~Q(reason=""),
                name="stock_correction_has_reason",
                violation_error_message="reason: say why the movement is corrected.",
            ),
        ]
        triggers = [
            *kept_as_written("stock_movement_is_kept"),
            pgtrigger.Trigger(
                name="stock_movement_moves_the_balance",
                when=pgtrigger.Before,
                operation=pgtrigger.Insert,
                declare=[("was", "jobs_stockmovement")],
                func="""
                    INSERT INTO jobs_stockbalance (depot_id, item_id, quantity, movements)
                        VALUES (NEW.depot_id, NEW.item_id, 0, 0)
                        ON CONFLICT (depot_id, item_id) DO NOTHING;
                    -- The row is locked from here on: the same item moves once at a time.
                    PERFORM 1 FROM jobs_stockbalance
                        WHERE depot_id = NEW.depot_id AND item_id = NEW.item_id FOR UPDATE;
                    -- An insert that a conflict would drop must not move the balance either.
                    PERFORM pg_advisory_xact_lock(hashtextextended(NEW.client_key::text, 0));
                    IF EXISTS (
                        SELECT 1 FROM jobs_stockmovement WHERE client_key = NEW.client_key
                    ) THEN
                        RAISE EXCEPTION 'This movement was stored already.'
                            USING ERRCODE = 'unique_violation';
                    END IF;
                    NEW.effect := NEW.quantity;
                    IF NEW.replaces_id IS NOT NULL THEN
                        SELECT * INTO was FROM jobs_stockmovement WHERE id = NEW.replaces_id;
                        IF was.depot_id <> NEW.depot_id OR was.item_id <> NEW.item_id
                            OR was.kind <> NEW.kind OR was.crew_id IS DISTINCT FROM NEW.crew_id
                            OR was.day IS DISTINCT FROM NEW.day THEN
                            RAISE EXCEPTION
                                'A correction is of the same depot, item, kind, crew and day.'
                                USING ERRCODE = 'restrict_violation';
                        END IF;
                        IF EXISTS (
                            SELECT 1 FROM jobs_stockmovement WHERE replaces_id = NEW.replaces_id
                        ) THEN
                            RAISE EXCEPTION
                                'This movement was corrected already: correct the correction.'
                                USING ERRCODE = 'unique_violation';
                        END IF;
                        NEW.effect := NEW.quantity - was.quantity;
                    END IF;
                    UPDATE jobs_stockbalance
                        SET quantity = quantity + NEW.effect, movements = movements + 1
                        WHERE depot_id = NEW.depot_id AND item_id = NEW.item_id
                        RETURNING quantity, movements INTO NEW.balance_after, NEW.number;
                    RETURN NEW;
                """,
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.quantity:+d} of {self.item_id}"
