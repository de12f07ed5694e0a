"""Layer plans and load lists over the API."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date
from typing import Any

from django.http import Http404, HttpResponse
from django.urls import path
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter
from rest_framework.views import APIView

import jobs.pages.converters  # noqa: F401  registers isodate
from calculations.drawing import draw_layer
from calculations.quantities import quantities_from_dict
from jobs.api.fields import VisibleRelatedField
from jobs.api.idempotency import IdempotentCreateMixin
from jobs.loading.load_list import load_list_of_day
from jobs.lofts import loft_of
from jobs.models import Crew, Job, LayerPlan, Role, Visit
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


class LoadListView(APIView):
    """What goes on the van of a crew on a day."""

    read_roles = frozenset({Role.PLANNER, Role.INSTALLER})
    write_roles: frozenset[str] = frozenset()

    @extend_schema(responses=OpenApiTypes.OBJECT)
    def get(self, request: Request, crew_pk: int, day: date) -> Response:
        crew = get_object_or_404(
            Crew.objects.filter(company_id=request.user.company_id), pk=crew_pk
        )
        mine = Visit.objects.visible_to(request.user).on_day(day).filter(crew=crew)
        if request.user.role == Role.INSTALLER and not mine.exists():
            raise Http404
        found = load_list_of_day(crew, day)
        return Response(
            {
                "crew": crew.pk,
                "day": day,
                "van": found.van.name if found.van else None,
                "visits": [visit.pk for visit in found.visits],
                "rolls": [asdict(line) for line in found.rolls],
                "accessories": [asdict(line) for line in found.accessories],
                "kit": [asdict(line) for line in found.kit],
                "packed_volume_m3": found.packed_volume_m3,
                "over_m3": found.over_m3,
                "visits_without_plan": [visit.pk for visit in found.without_plan],
            }
        )


router = SimpleRouter()
router.register("layer-plans", LayerPlanViewSet, basename="api_layer_plan")
urlpatterns = [
    *router.urls,
    path("load-lists/<int:crew_pk>/<isodate:day>/", LoadListView.as_view(), name="api_load_list"),
]
