"""The roll types a company lays over the API, and jobs that are planned with others."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from jobs.api.depots import OfficeRecords
from jobs.models import CompanyRollType
from jobs.models.roll_types import SPLITS
from jobs.roll_types import keep_roll_type, open_plans, work_out_again


class RollTypeSerializer(serializers.ModelSerializer):
    """`area_m2` of a roll, `cost_per_m2` and `resistance_m2k_w` (the R-value) follow from the rest.

    A layer plan keeps the roll types it was made with; a change reaches new plans alone.
    """

    splits = serializers.ListField(
        child=serializers.ChoiceField(choices=[(n, str(n)) for n in SPLITS]), required=False
    )
    area_m2 = serializers.FloatField(source="roll.area_m2", read_only=True)
    cost_per_m2 = serializers.FloatField(source="roll.cost_per_m2", read_only=True)
    resistance_m2k_w = serializers.FloatField(source="roll.resistance_m2k_w", read_only=True)

    class Meta:
        model = CompanyRollType
        fields = [
            "id",
            "code",
            "name",
            "thickness_mm",
            "width_mm",
            "length_mm",
            "conductivity_w_mk",
            "splits",
            "cost",
            "packed_volume_m3",
            "declared_in",
            "is_active",
            "area_m2",
            "cost_per_m2",
            "resistance_m2k_w",
            "entered_by",
            "entered_at",
            "version",
        ]
        read_only_fields = ["entered_by", "entered_at", "version"]
        extra_kwargs = {"cost": {"required": True}, "packed_volume_m3": {"required": True}}

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, dict) and isinstance(data.get("code"), str):
            data = data.copy()
            data["code"] = data["code"].upper()
        return super().to_internal_value(data)

    def create(self, data: dict[str, Any]) -> CompanyRollType:
        user = self.context["request"].user
        return keep_roll_type(CompanyRollType(company=user.company, **data), by=user)

    def update(self, record: CompanyRollType, data: dict[str, Any]) -> CompanyRollType:
        for name, value in data.items():
            setattr(record, name, value)
        return keep_roll_type(record, by=self.context["request"].user)


class PlannedOtherwiseSerializer(serializers.Serializer):
    """An open job whose plan was made with other roll types; POST layer-plans makes it anew."""

    job = serializers.IntegerField(source="job.pk")
    layer_plan = serializers.IntegerField(source="plan_id")
    why = serializers.CharField()
    goes_by = serializers.ListField(child=serializers.CharField())


class WorkedOutAgainSerializer(serializers.Serializer):
    jobs = serializers.ListField(child=serializers.IntegerField())


class RollTypeViewSet(OfficeRecords):
    """What a company lays. While it has none in use, lofts are planned with invented rolls."""

    queryset = CompanyRollType.objects.order_by("id")
    serializer_class = RollTypeSerializer
    filterset_fields = ["code", "is_active"]

    @extend_schema(responses=PlannedOtherwiseSerializer(many=True), filters=False)
    @action(detail=False, methods=["get"], url_path="other-rolls", pagination_class=None)
    def other_rolls(self, request: Request) -> Response:
        """Open jobs, begun by no crew, whose plan was made with other roll types than today's."""
        rows = open_plans(request.user.company, timezone.localdate()).otherwise
        return Response(PlannedOtherwiseSerializer(rows, many=True).data)

    @extend_schema(request=None, responses={202: WorkedOutAgainSerializer}, filters=False)
    @action(detail=False, methods=["post"], url_path="work-out-again", pagination_class=None)
    def work_out_again(self, request: Request) -> Response:
        """Have the layers of all of them worked out again, in the background."""
        ids = work_out_again(request.user.company, timezone.localdate())
        return Response(WorkedOutAgainSerializer({"jobs": ids}).data, status=202)


router = SimpleRouter()
router.register("roll-types", RollTypeViewSet, basename="api_roll_type")
urlpatterns = router.urls
