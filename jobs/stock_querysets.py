"""Queries over depots, their stock and the loads of vans, by who asks."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any, Self

from django.db import models

from jobs.managers import CompanyScopedQuerySet

if TYPE_CHECKING:
    from jobs.models.people import User


class DepotQuerySet(CompanyScopedQuerySet):
    def active(self) -> Self:
        return self.filter(is_active=True)


class StockOrderQuerySet(CompanyScopedQuerySet):
    def open(self) -> Self:
        return self.filter(state="open")

    def with_names(self) -> Self:
        return self.select_related("depot", "item", "ordered_by")


class StockMovementQuerySet(CompanyScopedQuerySet):
    def with_names(self) -> Self:
        return self.select_related("depot", "item", "crew", "van", "by", "replaces")

    def newest_first(self) -> Self:
        return self.order_by("-id")

    def of_crews_day(self, crew_id: int, day: date) -> Self:
        return self.filter(crew_id=crew_id, day=day)

    def current(self) -> Self:
        """Movements that no correction replaces."""
        return self.filter(replaced_by__isnull=True)


class VanLoadingQuerySet(CompanyScopedQuerySet):
    def visible_to(self, user: User | Any) -> Self:
        """A company's own; for an installer those of the crew it belongs to."""
        if getattr(user, "role", None) == "installer":
            return self.filter(crew__operatives__user=user)
        return super().visible_to(user)

    def of_day(self, crew_id: int, day: date) -> Self:
        return self.filter(crew_id=crew_id, day=day).order_by("number")

    def with_names(self) -> Self:
        return self.select_related("crew", "van", "depot", "loaded_by")


class StockBalanceQuerySet(models.QuerySet[Any]):
    def with_items(self) -> Self:
        return self.select_related("item")
