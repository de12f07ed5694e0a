"""Load lists and rounds of a crew's day over the API; marking loads and bringing back."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date
from typing import Any

from django.http import Http404
from django.urls import path
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter
from rest_framework.views import APIView

import jobs.pages.converters  # noqa: F401  registers isodate
from jobs.api.stock import StockMovementSerializer, UnitsSerializer
from jobs.loading.load_list import Load, LoadList, load_list_for
from jobs.loading.vans import Taken, mark_loaded, may_load, return_unused
from jobs.models import Crew, Role, VanLoading
from jobs.rounds.round_sheet import RoundStop, round_sheet_for

VAN_ROLES = frozenset({Role.PLANNER, Role.INSTALLER})


def _crew(request: Request, pk: int) -> Crew:
    crews = Crew.objects.select_related("company", "depot", "van")
    return get_object_or_404(crews.filter(company_id=request.user.company_id), pk=pk)


def _load_list(request: Request, crew_pk: int, day: date) -> LoadList:
    found = load_list_for(request.user, _crew(request, crew_pk), day)
    if found is None:
        raise Http404
    return found


class LoadListView(APIView):
    """What goes on the van of a crew on a day, load by load."""

    read_roles = VAN_ROLES
    write_roles: frozenset[str] = frozenset()

    @extend_schema(responses=OpenApiTypes.OBJECT)
    def get(self, request: Request, crew_pk: int, day: date) -> Response:
        found = _load_list(request, crew_pk, day)
        return Response(
            {
                "crew": found.crew.pk,
                "day": day,
                "van": found.van.name if found.van else None,
                "depot": found.depot.pk if found.depot else None,
                "visits": [visit.pk for visit in found.visits],
                "rolls": [asdict(line) for line in found.rolls],
                "accessories": [asdict(line) for line in found.accessories],
                "kit": [asdict(line) for line in found.kit],
                "packed_volume_m3": found.packed_volume_m3,
                "over_m3": found.over_m3,
                "visits_without_plan": [visit.pk for visit in found.without_plan],
                "loads": [_told(load) for load in found.loads],
            }
        )


def _told(load: Load) -> dict[str, Any]:
    return {
        "number": load.number,
        "seen": load.fingerprint,
        "on_the_van_since": load.record.loaded_at if load.record else None,
        "volume_m3": load.volume_m3,
        "lines": [asdict(line) | {"units": line.units} for line in load.lines],
        "visits": [
            {
                "visit": part.visit.pk,
                "rolls": {line.item: line.units for line in part.rolls},
                "accessories": {line.item: line.quantity for line in part.accessories},
            }
            for part in load.parts
        ],
    }


class TakenSerializer(serializers.Serializer):
    item = serializers.CharField()
    units = serializers.IntegerField(min_value=0)
    reason = serializers.CharField(max_length=200, required=False, default="", allow_blank=True)


class MarkSerializer(serializers.Serializer):
    """`taken`: lines that differ from the list, each with why. `seen`: the load's mark as read."""

    number = serializers.IntegerField(min_value=1)
    taken = TakenSerializer(many=True, required=False)
    seen = serializers.CharField(required=False, default="", allow_blank=True)
    client_key = serializers.UUIDField(required=False)


class VanLoadingSerializer(serializers.ModelSerializer):
    class Meta:
        model = VanLoading
        fields = [
            "id", "crew", "day", "number", "depot", "van", "lines", "visits", "loaded_by",
            "loaded_at",
        ]  # fmt: skip
        read_only_fields = fields


class LoadMarkView(APIView):
    """Mark a load as on the van; the depot's stock goes down by what was taken."""

    read_roles: frozenset[str] = frozenset()
    write_roles = VAN_ROLES

    @extend_schema(request=MarkSerializer, responses={201: VanLoadingSerializer})
    def post(self, request: Request, crew_pk: int, day: date) -> Response:
        crew = _own_van(request, crew_pk, day)
        serializer = MarkSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        given = serializer.validated_data
        taken = {t["item"]: Taken(t["units"], t["reason"]) for t in given.get("taken", [])}
        record = mark_loaded(
            crew, day, given["number"], by=request.user, taken=taken, seen=given["seen"],
            key=given.get("client_key"),
        )  # fmt: skip
        return Response(VanLoadingSerializer(record).data, status=201)


class LoadReturnView(APIView):
    """Bring back what a crew's day did not use; the depot's stock goes up by it."""

    read_roles: frozenset[str] = frozenset()
    write_roles = VAN_ROLES

    @extend_schema(request=UnitsSerializer, responses={201: StockMovementSerializer(many=True)})
    def post(self, request: Request, crew_pk: int, day: date) -> Response:
        crew = _own_van(request, crew_pk, day)
        serializer = UnitsSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        given = serializer.validated_data
        rows = return_unused(
            crew, day, given["quantities"], by=request.user, note=given["note"],
            key=given.get("client_key"),
        )  # fmt: skip
        return Response(StockMovementSerializer(rows, many=True).data, status=201)


def _own_van(request: Request, crew_pk: int, day: date) -> Crew:
    crew = _load_list(request, crew_pk, day).crew
    if not may_load(request.user, crew):
        raise Http404
    return crew


class VanLoadingViewSet(
    mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[VanLoading]
):
    """Loads as they went onto the vans. An installer sees those of its own crew."""

    read_roles = VAN_ROLES
    write_roles: frozenset[str] = frozenset()
    serializer_class = VanLoadingSerializer
    filterset_fields = ["crew", "day"]
    queryset = VanLoading.objects.none()

    def get_queryset(self) -> Any:
        return VanLoading.objects.visible_to(self.request.user).order_by("-id")


class RoundView(APIView):
    """The round of a crew's day in order of time. An installer is told its own visits."""

    read_roles = VAN_ROLES
    write_roles: frozenset[str] = frozenset()

    @extend_schema(responses=OpenApiTypes.OBJECT)
    def get(self, request: Request, crew_pk: int, day: date) -> Response:
        sheet = round_sheet_for(request.user, _crew(request, crew_pk), day, drawn=False)
        if sheet is None:
            raise Http404
        return Response(
            {
                "crew": sheet.crew.pk,
                "day": day,
                "begins_at": sheet.begins_at,
                "loads": sheet.load_count,
                "stops": [_stop(stop) for stop in sheet.stops],
            }
        )


def _stop(stop: RoundStop) -> dict[str, Any]:
    home = stop.visit.job.property
    return {
        "number": stop.number,
        "visit": stop.visit.pk,
        "kind": stop.visit.kind,
        "starts_at": stop.starts_at,
        "ends_at": stop.ends_at,
        "drive_min": round(stop.drive.minutes, 1) if stop.drive else None,
        "drive_km": round(stop.drive.km, 1) if stop.drive else None,
        "address": home.address,
        "householder_name": home.householder_name,
        "householder_phone": home.householder_phone,
        "access": stop.access,
        "hazards": stop.hazards,
        "operatives": stop.operatives,
        "rolls": {line.item: line.units for line in stop.rolls},
        "from_loads": stop.loads,
        "back_at_depot": stop.back,
        "target_depth_mm": stop.target_depth_mm,
    }


router = SimpleRouter()
router.register("van-loadings", VanLoadingViewSet, basename="api_van_loading")
LIST = "load-lists/<int:crew_pk>/<isodate:day>/"
urlpatterns = [
    path(LIST, LoadListView.as_view(), name="api_load_list"),
    path(f"{LIST}load/", LoadMarkView.as_view(), name="api_load_mark"),
    path(f"{LIST}return/", LoadReturnView.as_view(), name="api_load_return"),
    path("rounds/<int:crew_pk>/<isodate:day>/", RoundView.as_view(), name="api_round"),
    *router.urls,
]
