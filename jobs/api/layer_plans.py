"""Layer plans over the API."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.routers import SimpleRouter

from calculations.drawing import draw_layer
from calculations.quantities import quantities_from_dict
from jobs.api.fields import VisibleRelatedField
from jobs.api.idempotency import IdempotentCreateMixin
from jobs.lofts import loft_of
from jobs.models import Job, LayerPlan, Role
from jobs.surveying.quantities import make_layer_plan

READS = frozenset(
    {Role.PLANNER, Role.SURVEYOR, Role.INSTALLER, Role.COMPLIANCE_OFFICER, Role.AUDITOR}
)


class LayerPlanSerializer(serializers.ModelSerializer):
    job = VisibleRelatedField(queryset=Job.objects.with_place())

    class Meta:
        model = LayerPlan
        exclude: list[str] = []
        read_only_fields = [
            field.name for field in LayerPlan._meta.fields if field.name not in ("id", "job")
        ]

    def create(self, data: dict[str, Any]) -> LayerPlan:
        return make_layer_plan(data["job"])


class LayerPlanViewSet(
    IdempotentCreateMixin,
    mixins.ListModelMixin,
    mixins.RetrieveModelMixin,
    viewsets.GenericViewSet[LayerPlan],
):
    """Layer plans. Creating one works it out now; the same survey gives the same plan."""

    read_roles = READS
    write_roles = frozenset({Role.PLANNER, Role.SURVEYOR})
    serializer_class = LayerPlanSerializer
    filterset_fields = ["job"]
    queryset = LayerPlan.objects.none()

    def get_queryset(self) -> Any:
        return LayerPlan.objects.visible_to(self.request.user)

    @extend_schema(responses={(200, "image/svg+xml"): OpenApiTypes.STR})
    @action(detail=True, methods=["get"], url_path=r"layers/(?P<number>\d{1,2})")
    def layer(self, request: Request, pk: str, number: str) -> HttpResponse:
        """One layer's drawing, as SVG."""
        plan = get_object_or_404(self.get_queryset().select_related("survey"), pk=pk)
        quantities = quantities_from_dict(plan.quantities)
        if int(number) not in {layer.number for layer in quantities.layers}:
            raise Http404
        svg = draw_layer(loft_of(plan.survey), quantities, int(number))
        return HttpResponse(svg, content_type="image/svg+xml")


router = SimpleRouter()
router.register("layer-plans", LayerPlanViewSet, basename="api_layer_plan")
urlpatterns = router.urls
