"""Shortfalls over the API: read, given an owner, sent a call-back. None is closed by hand."""

from __future__ import annotations

from typing import Any

import django_filters
from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from compliance.api.roles import PROOF_READERS, SENDERS
from compliance.models import Shortfall
from compliance.shortfalls import OWNERS, assign_owner, send_call_back, set_due_date
from jobs.api.fields import IdFilter, VisibleRelatedField
from jobs.models import Crew, User, Van
from jobs.planning.booking import LONGEST_HOURS, SHORTEST_HOURS, refuse_past


class ShortfallSerializer(serializers.ModelSerializer):
    """Deficit in mm and m2. `call_back` is the visit that puts it right."""

    class Meta:
        model = Shortfall
        fields = [
            "id",
            "job",
            "assessment",
            "deficit_mm",
            "deficit_area_m2",
            "likely_cause",
            "owner",
            "due_on",
            "call_back",
            "flagged_at",
            "closed_by",
            "waived_by",
            "closed_at",
        ]
        read_only_fields = fields


class OwnerSerializer(serializers.Serializer):
    owner = serializers.PrimaryKeyRelatedField(queryset=User.objects.none())

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        request = self.context.get("request")
        if request is not None and request.user.is_authenticated:
            owner: Any = self.fields["owner"]
            people = User.objects.filter(company=request.user.company_id)
            owner.queryset = people.filter(role__in=OWNERS)


class DueSerializer(serializers.Serializer):
    due_on = serializers.DateField()


class CallBackSerializer(serializers.Serializer):
    """Who goes when, for how many hours. Without `van` the crew takes its usual one."""

    crew = VisibleRelatedField(queryset=Crew.objects.all())
    van = VisibleRelatedField(queryset=Van.objects.all(), required=False, allow_null=True)
    starts_at = serializers.DateTimeField()
    hours = serializers.FloatField(min_value=SHORTEST_HOURS, max_value=LONGEST_HOURS)
    note = serializers.CharField(required=False, allow_blank=True, max_length=2000)

    def validate_starts_at(self, starts_at: Any) -> Any:
        refuse_past(starts_at)
        return starts_at


class ShortfallFilter(django_filters.FilterSet):
    job = IdFilter()
    open = django_filters.BooleanFilter("closed_at", lookup_expr="isnull")
    due_before = django_filters.DateFilter("due_on", lookup_expr="lt")

    class Meta:
        model = Shortfall
        fields = ["job", "open", "due_before", "likely_cause"]


class ShortfallViewSet(
    mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Shortfall]
):
    read_roles = PROOF_READERS
    write_roles = SENDERS
    serializer_class = ShortfallSerializer
    filterset_class = ShortfallFilter
    queryset = Shortfall.objects.none()

    def get_queryset(self) -> QuerySet[Shortfall]:
        return Shortfall.objects.visible_to(self.request.user).select_related("job")

    @extend_schema(request=OwnerSerializer, responses=ShortfallSerializer)
    @action(detail=True, methods=["post"])
    def owner(self, request: Request, pk: str) -> Response:
        """Say who puts it right: a planner or compliance officer of the company."""
        shortfall = self.get_object()
        asked = OwnerSerializer(data=request.data, context=self.get_serializer_context())
        asked.is_valid(raise_exception=True)
        assign_owner(shortfall, asked.validated_data["owner"])
        return Response(self.get_serializer(shortfall).data)

    @extend_schema(request=DueSerializer, responses=ShortfallSerializer)
    @action(detail=True, methods=["post"])
    def due(self, request: Request, pk: str) -> Response:
        """Say by when it is put right."""
        shortfall = self.get_object()
        asked = DueSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        set_due_date(shortfall, asked.validated_data["due_on"], request.user)
        return Response(self.get_serializer(shortfall).data)

    @extend_schema(request=CallBackSerializer, responses=ShortfallSerializer)
    @action(detail=True, methods=["post"], url_path="call-back")
    def call_back(self, request: Request, pk: str) -> Response:
        """Book the visit that puts it right. A second one while the first is booked is a 409."""
        shortfall = self.get_object()
        asked = CallBackSerializer(data=request.data, context=self.get_serializer_context())
        asked.is_valid(raise_exception=True)
        given = asked.validated_data
        given.setdefault("van", given["crew"].van)
        send_call_back(shortfall, by=request.user, **given)
        shortfall.refresh_from_db()
        return Response(self.get_serializer(shortfall).data, status=201)


router = SimpleRouter()
router.register("shortfalls", ShortfallViewSet, basename="api_shortfall")
urlpatterns = router.urls
