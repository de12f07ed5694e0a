"""The ledger of depots' stock over the API: movements, the acts that make them, orders."""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import Any

import django_filters
from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter
from rest_framework.views import APIView

from jobs.api.fields import IdFilter, VisibleRelatedField
from jobs.api.idempotency import IdempotentCreateMixin
from jobs.api.roles import OFFICE, PLANNER
from jobs.errors import Refused
from jobs.loading.movements import correct_movement, count_stock, receive_delivery, record_spoilt
from jobs.loading.orders import cancel_order, order_arrived, place_order
from jobs.models import Depot, StockItem, StockMovement, StockOrder, User


class StockMovementSerializer(serializers.ModelSerializer):
    class Meta:
        model = StockMovement
        fields = [
            "id",
            "depot",
            "item",
            "kind",
            "quantity",
            "effect",
            "number",
            "balance_after",
            "crew",
            "van",
            "day",
            "loading",
            "order",
            "reason",
            "by",
            "at",
            "replaces",
        ]
        read_only_fields = fields


class StockMovementFilter(django_filters.FilterSet):
    depot = IdFilter()
    item = IdFilter()
    crew = IdFilter()

    class Meta:
        model = StockMovement
        fields = ["depot", "item", "crew", "kind", "day"]


class CorrectSerializer(serializers.Serializer):
    """`quantity`: as it should have been, above zero for what came in."""

    quantity = serializers.IntegerField()
    reason = serializers.CharField(max_length=200)
    client_key = serializers.UUIDField(required=False)


class StockMovementViewSet(
    mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[StockMovement]
):
    """Movements are never changed: a correction is a new one that names the one it replaces."""

    read_roles = OFFICE
    write_roles = PLANNER
    serializer_class = StockMovementSerializer
    filterset_class = StockMovementFilter
    queryset = StockMovement.objects.none()

    def get_queryset(self) -> Any:
        return StockMovement.objects.visible_to(self.request.user).newest_first()

    @extend_schema(request=CorrectSerializer, responses={201: StockMovementSerializer})
    @action(detail=True, methods=["post"])
    def correct(self, request: Request, pk: str) -> Response:
        """Put a movement right by a new one that replaces it."""
        movement = self.get_object()
        given = _valid(CorrectSerializer, request)
        row = correct_movement(
            movement, given["quantity"], given["reason"], by=request.user,
            key=given.get("client_key"),
        )  # fmt: skip
        return Response(self.get_serializer(row).data, status=201)


class UnitsSerializer(serializers.Serializer):
    """`quantities`: item code -> whole units. Sent twice with its `client_key` it counts once."""

    quantities = serializers.DictField(
        child=serializers.IntegerField(min_value=0), allow_empty=False
    )
    note = serializers.CharField(max_length=200, required=False, default="", allow_blank=True)
    client_key = serializers.UUIDField(required=False)


def _valid(kind: type[serializers.Serializer], request: Request) -> dict[str, Any]:
    serializer = kind(data=request.data)
    serializer.is_valid(raise_exception=True)
    given: dict[str, Any] = serializer.validated_data
    return given


def items_by_code(user: User, quantities: dict[str, int]) -> dict[StockItem, int]:
    """Raises Refused for a code of no item of the company."""
    items = {i.code: i for i in StockItem.objects.visible_to(user).filter(code__in=quantities)}
    for code in quantities:
        if code not in items:
            raise Refused(
                f"You keep no item “{code}”.",
                field="quantities",
                remedy="Add it, or mend the code.",
            )
    return {items[code]: units for code, units in quantities.items()}


class DepotActView(ABC, APIView):
    """Several items moved at once; what is given back are the movements."""

    read_roles: frozenset[str] = frozenset()
    write_roles = PLANNER

    @extend_schema(request=UnitsSerializer, responses={201: StockMovementSerializer(many=True)})
    def post(self, request: Request, pk: int) -> Response:
        depot = get_object_or_404(Depot.objects.visible_to(request.user), pk=pk)
        given = _valid(UnitsSerializer, request)
        wanted = items_by_code(request.user, given["quantities"])
        rows = self.carry_out(depot, wanted, given, request.user)
        return Response(StockMovementSerializer(rows, many=True).data, status=201)

    @abstractmethod
    def carry_out(
        self, depot: Depot, wanted: dict[StockItem, int], given: dict[str, Any], by: User
    ) -> list[StockMovement]:
        """The act itself; each kind of act says it."""


class DeliveryView(DepotActView):
    """A delivery: units into the stock."""

    def carry_out(self, depot: Any, wanted: Any, given: Any, by: Any) -> list[StockMovement]:
        key = given.get("client_key")
        return receive_delivery(depot, wanted, by=by, note=given["note"], key=key)


class StockTakeView(DepotActView):
    """A stock-take: the stock is what was counted."""

    def carry_out(self, depot: Any, wanted: Any, given: Any, by: Any) -> list[StockMovement]:
        key = given.get("client_key")
        return count_stock(depot, wanted, by=by, note=given["note"], key=key)


class LossView(DepotActView):
    """What is spoilt or lost: units out of the stock; `note` says what happened."""

    def carry_out(self, depot: Any, wanted: Any, given: Any, by: Any) -> list[StockMovement]:
        return record_spoilt(depot, wanted, given["note"], by=by, key=given.get("client_key"))


class StockOrderSerializer(serializers.ModelSerializer):
    depot = VisibleRelatedField(queryset=Depot.objects.all())
    item = VisibleRelatedField(queryset=StockItem.objects.all())

    class Meta:
        model = StockOrder
        fields = ["id", "depot", "item", "quantity", "due_on", "note", "state", "version"]
        read_only_fields = ["state", "version"]

    def create(self, data: dict[str, Any]) -> StockOrder:
        return place_order(by=self.context["request"].user, **data)


class ArrivedSerializer(serializers.Serializer):
    """`quantity`: the units that came, in place of those ordered."""

    quantity = serializers.IntegerField(min_value=0)


class StockOrderFilter(django_filters.FilterSet):
    depot = IdFilter()
    item = IdFilter()

    class Meta:
        model = StockOrder
        fields = ["depot", "item", "state"]


class StockOrderViewSet(
    IdempotentCreateMixin,
    mixins.ListModelMixin,
    mixins.RetrieveModelMixin,
    viewsets.GenericViewSet[StockOrder],
):
    read_roles = OFFICE
    write_roles = PLANNER
    serializer_class = StockOrderSerializer
    filterset_class = StockOrderFilter
    queryset = StockOrder.objects.none()

    def get_queryset(self) -> Any:
        return StockOrder.objects.visible_to(self.request.user).with_names()

    @extend_schema(request=ArrivedSerializer, responses=StockOrderSerializer)
    @action(detail=True, methods=["post"])
    def arrived(self, request: Request, pk: str) -> Response:
        """Take what came of an order into the stock."""
        order = self.get_object()
        order_arrived(order, _valid(ArrivedSerializer, request)["quantity"], by=request.user)
        order.refresh_from_db()
        return Response(self.get_serializer(order).data)

    @extend_schema(request=None, responses=StockOrderSerializer)
    @action(detail=True, methods=["post"])
    def cancel(self, request: Request, pk: str) -> Response:
        """Count on an order no more."""
        return Response(self.get_serializer(cancel_order(self.get_object())).data)


router = SimpleRouter()
router.register("stock-movements", StockMovementViewSet, basename="api_stock_movement")
router.register("stock-orders", StockOrderViewSet, basename="api_stock_order")
DEPOT = "depots/<int:pk>/"
urlpatterns = [
    path(f"{DEPOT}deliveries/", DeliveryView.as_view(), name="api_depot_delivery"),
    path(f"{DEPOT}stock-takes/", StockTakeView.as_view(), name="api_depot_stock_take"),
    path(f"{DEPOT}losses/", LossView.as_view(), name="api_depot_loss"),
    *router.urls,
]
