"""The office's prices over the API: what new plans begin with, and what was set when."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from jobs.api.idempotency import IdempotentCreateMixin
from jobs.api.roles import OFFICE, PLANNER
from jobs.models import OfficePrices
from jobs.planning.prices import WORDS, Prices, prices_in_force, set_prices


class OfficePricesSerializer(serializers.ModelSerializer):
    """Prices [min of driving] that new plans begin with. What is not given stays as it is.

    `follows`: the `number` of the prices you looked at (0: none were set); 409 if others came.
    """

    follows = serializers.IntegerField(min_value=0, required=False, write_only=True)

    class Meta:
        model = OfficePrices
        fields = ["id", "number", *WORDS, "note", "set_by", "set_at", "follows"]
        read_only_fields = ["number", "set_by", "set_at"]
        extra_kwargs = {name: {"required": False} for name in WORDS}

    def create(self, data: dict[str, Any]) -> OfficePrices:
        user = self.context["request"].user
        given = {name: data[name] for name in WORDS if name in data}
        prices = Prices(**{**asdict(Prices.of(prices_in_force(user.company))), **given})
        rest = {"note": data.get("note", ""), "follows": data.get("follows")}
        return set_prices(user.company, prices, by=user, **rest)


class InForceSerializer(serializers.Serializer):
    """`number` 0: nobody has set any, and plans begin with the usual prices."""

    number = serializers.IntegerField()

    def get_fields(self) -> dict[str, Any]:
        return super().get_fields() | {name: serializers.FloatField() for name in WORDS}


class OfficePricesViewSet(
    IdempotentCreateMixin,
    mixins.ListModelMixin,
    mixins.RetrieveModelMixin,
    viewsets.GenericViewSet[OfficePrices],
):
    read_roles = OFFICE
    write_roles = PLANNER
    queryset = OfficePrices.objects.none()
    serializer_class = OfficePricesSerializer

    def get_queryset(self) -> Any:
        return OfficePrices.objects.visible_to(self.request.user)

    @extend_schema(responses=InForceSerializer)
    @action(detail=False, methods=["get"], url_path="in-force", pagination_class=None)
    def in_force(self, request: Request) -> Response:
        """The prices that a plan asked for now begins with."""
        row = prices_in_force(request.user.company)  # type: ignore[union-attr]
        number = row.number if row else 0
        return Response(InForceSerializer({"number": number, **asdict(Prices.of(row))}).data)

    @extend_schema(responses=InForceSerializer)
    @action(detail=False, methods=["get"], pagination_class=None)
    def usual(self, request: Request) -> Response:
        """The usual prices, to go back to; `number` is 0."""
        return Response(InForceSerializer({"number": 0, **asdict(Prices())}).data)


router = SimpleRouter()
router.register("office-prices", OfficePricesViewSet, basename="api_office_prices")
urlpatterns = router.urls
