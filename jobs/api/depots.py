"""Depots, what they keep and where they stand over the API."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from jobs.api.concurrency import VersionedUpdateMixin
from jobs.api.idempotency import IdempotentCreateMixin
from jobs.api.roles import OFFICE, PLANNER
from jobs.loading.depots import keep_depot, keep_item
from jobs.loading.ordering import StockWarning
from jobs.loading.standing import ItemStanding, standing_of
from jobs.models import Depot, DepotHours, StockItem


class HoursSerializer(serializers.ModelSerializer):
    class Meta:
        model = DepotHours
        fields = ["weekday", "opens_at", "closes_at"]


class DepotSerializer(serializers.ModelSerializer):
    """`hours`: a weekday (0 is Monday) that is left out is closed; given, they replace all."""

    hours = HoursSerializer(many=True, required=False)

    class Meta:
        model = Depot
        fields = [
            "id",
            "name",
            "address",
            "postcode",
            "nation",
            "latitude_deg",
            "longitude_deg",
            "reload_minutes",
            "is_active",
            "hours",
            "version",
        ]
        read_only_fields = ["version"]

    def create(self, data: dict[str, Any]) -> Depot:
        hours = _hours(data)
        return keep_depot(Depot(company=self.context["request"].user.company, **data), hours or {})

    def update(self, record: Depot, data: dict[str, Any]) -> Depot:
        hours = _hours(data)
        for name, value in data.items():
            setattr(record, name, value)
        return keep_depot(record, hours)


def _hours(data: dict[str, Any]) -> dict[int, Any] | None:
    rows = data.pop("hours", None)
    if rows is None:
        return None
    return {row["weekday"]: (row["opens_at"], row["closes_at"]) for row in rows}


class StockItemSerializer(serializers.ModelSerializer):
    class Meta:
        model = StockItem
        fields = [
            "id",
            "code",
            "name",
            "unit",
            "units_per_pack",
            "pack_volume_m3",
            "lead_time_days",
            "reorder_point",
            "supplier",
            "is_active",
            "version",
        ]
        read_only_fields = ["version"]

    def create(self, data: dict[str, Any]) -> StockItem:
        return keep_item(StockItem(company=self.context["request"].user.company, **data))

    def update(self, record: StockItem, data: dict[str, Any]) -> StockItem:
        for name, value in data.items():
            setattr(record, name, value)
        return keep_item(record)


class OfficeRecords(
    IdempotentCreateMixin,
    VersionedUpdateMixin,
    mixins.ListModelMixin,
    viewsets.GenericViewSet[Any],
):
    read_roles = OFFICE
    write_roles = PLANNER

    def get_queryset(self) -> Any:
        return super().get_queryset().visible_to(self.request.user)


class DepotViewSet(OfficeRecords):
    queryset = Depot.objects.prefetch_related("hours")
    serializer_class = DepotSerializer
    filterset_fields = ["is_active"]

    @extend_schema(responses=OpenApiTypes.OBJECT)
    @action(detail=True, methods=["get"])
    def stock(self, request: Request, pk: str) -> Response:
        """Units of each item now and in the weeks ahead, and what to order by when."""
        found = standing_of(self.get_object(), timezone.localdate())
        return Response(
            {
                "depot": found.depot.pk,
                "as_of": found.today,
                "days_ahead": found.days,
                "items": [_item(row) for row in found.items],
                "to_order": [_warning(warning) for warning in found.warnings],
            }
        )


def _item(row: ItemStanding) -> dict[str, Any]:
    return {
        "item": row.item.pk,
        "code": row.item.code,
        "now": row.now,
        "needed": row.needed,
        "arriving": row.arriving,
        "least": row.least,
        "least_on": row.least_on,
    }


WARNING = ("code", "name", "kind", "on", "left", "packs", "order_by", "comes_on", "late")


def _warning(warning: StockWarning) -> dict[str, Any]:
    told = {name: getattr(warning, name) for name in WARNING}
    return told | {
        "item": warning.item.pk if warning.item else None,
        "units": warning.units,
        "visits": [visit.pk for visit in warning.visits],
        "sentence": warning.sentence,
    }


class StockItemViewSet(OfficeRecords):
    queryset = StockItem.objects.all()
    serializer_class = StockItemSerializer
    filterset_fields = ["code", "is_active"]


router = SimpleRouter()
router.register("depots", DepotViewSet, basename="api_depot")
router.register("stock-items", StockItemViewSet, basename="api_stock_item")
urlpatterns = router.urls
