"""Visits over the API: booked, moved under If-Match, cancelled."""

from __future__ import annotations

from typing import Any

import django_filters
from django.db import transaction
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from jobs.api.concurrency import VersionedUpdateMixin, etag_of, require_match
from jobs.api.fields import IdFilter, VisibleRelatedField
from jobs.api.idempotency import IdempotentCreateMixin
from jobs.api.jobs import ReasonSerializer
from jobs.api.plan_runs import PlanRunSerializer
from jobs.api.roles import JOB_READERS, PLANNER
from jobs.models import Crew, Job, Operative, User, Van, Visit
from jobs.planning.agreeing import hold, mark_told
from jobs.planning.booking import (
    book_visit,
    cancel_visit,
    hours_of,
    lock_visit,
    move_visit,
    refuse_past,
)
from jobs.planning.electrical import finish_electrical_visit
from jobs.planning.lending import lend, take_back
from jobs.planning.runs import visit_overruns
from jobs.planning.waiting import Waiting
from jobs.stages import lock_job


class VisitSerializer(serializers.ModelSerializer):
    """A visit. `hours` is how long it is booked for; the operatives are the crew's.

    When it is moved, who goes along from another crew stays with it. Who could not come is named
    by a 409 (`left_behind`) before anything is moved; `may_leave_behind` (ids) moves without them.
    `bring_back` (ids): who of those left behind is free again goes along as before.
    """

    job = VisibleRelatedField(queryset=Job.objects.all())
    crew = VisibleRelatedField(queryset=Crew.objects.all())
    van = VisibleRelatedField(queryset=Van.objects.all(), required=False, allow_null=True)
    starts_at = serializers.DateTimeField()
    ends_at = serializers.DateTimeField(read_only=True)
    hours = serializers.FloatField(min_value=0.25, max_value=14)
    operatives = serializers.SerializerMethodField()
    may_leave_behind, bring_back = (
        serializers.ListField(
            child=serializers.IntegerField(min_value=1), required=False, write_only=True
        )
        for _ in range(2)
    )

    class Meta:
        model = Visit
        fields = [
            "id",
            "job",
            "kind",
            "status",
            "crew",
            "van",
            "operatives",
            "may_leave_behind",
            "bring_back",
            "starts_at",
            "ends_at",
            "hours",
            "note",
            "stop_reason",
            "arrived_at",
            "left_at",
            "need",
            "part",
            "promised_at",
            "held",
            "version",
        ]
        read_only_fields = [
            "status",
            "stop_reason",
            "arrived_at",
            "left_at",
            "need",
            "part",
            "promised_at",
            "held",
            "version",
        ]

    @extend_schema_field(serializers.ListField(child=serializers.IntegerField()))
    def get_operatives(self, visit: Visit) -> list[int]:
        return [row.operative_id for row in visit.visit_operatives.all()]

    def to_representation(self, visit: Visit) -> dict[str, Any]:
        visit.hours = hours_of(visit)  # type: ignore[attr-defined]
        return super().to_representation(visit)

    def validate_starts_at(self, starts_at: Any) -> Any:
        refuse_past(starts_at)
        return starts_at

    def validate(self, data: dict[str, Any]) -> dict[str, Any]:
        fixed = {"job", "kind"} & data.keys()
        if self.instance is not None and fixed:
            raise serializers.ValidationError(
                dict.fromkeys(fixed, "A visit stays with its job and kind. Book another one.")
            )
        return data

    def create(self, data: dict[str, Any]) -> Visit:
        for name in ("may_leave_behind", "bring_back"):
            data.pop(name, None)  # nobody goes along yet
        data.setdefault("van", data["crew"].van)
        return book_visit(by=self.context["request"].user, **data)

    def update(self, visit: Visit, data: dict[str, Any]) -> Visit:
        return move_visit(visit, by=self.context["request"].user, version=visit.version, **data)


class HoldSerializer(serializers.Serializer):
    held = serializers.BooleanField()


class ToldSerializer(serializers.Serializer):
    told = serializers.BooleanField()


class OverrunSerializer(serializers.Serializer):
    """Until when the visit will last, and what becomes of visits that are not booked yet."""

    ends_at = serializers.DateTimeField()
    waiting = serializers.ChoiceField(
        [Waiting.LEAVE.value, Waiting.PLAN.value], default=Waiting.LEAVE.value
    )


class SendAlongSerializer(serializers.Serializer):
    """Somebody of another crew; `lent` false: they do not go along after all."""

    operative = VisibleRelatedField(queryset=Operative.objects.all())
    lent = serializers.BooleanField(default=True)


class FoundSerializer(serializers.Serializer):
    found = serializers.CharField(max_length=400)


def finish_seen(visit: Visit, found: str, *, by: User, version: int) -> Visit:
    """The version was compared already, under the lock."""
    return finish_electrical_visit(visit, found, by=by)


class VisitFilter(django_filters.FilterSet):
    job = IdFilter()
    crew = IdFilter()
    van = IdFilter()
    starts_after = django_filters.IsoDateTimeFilter("during__startswith", lookup_expr="gte")
    starts_before = django_filters.IsoDateTimeFilter("during__startswith", lookup_expr="lt")

    class Meta:
        model = Visit
        fields = ["job", "crew", "van", "kind", "status", "starts_after", "starts_before"]


class VisitViewSet(
    IdempotentCreateMixin,
    VersionedUpdateMixin,
    mixins.ListModelMixin,
    viewsets.GenericViewSet[Visit],
):
    read_roles = JOB_READERS
    write_roles = PLANNER
    serializer_class = VisitSerializer
    filterset_class = VisitFilter
    queryset = Visit.objects.none()

    def get_queryset(self) -> Any:
        visits = Visit.objects.visible_to(self.request.user)
        return visits.with_job().prefetch_related("visit_operatives")

    def partial_update(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Move a visit, under If-Match. The job is locked before the visit, as everywhere."""
        with transaction.atomic():
            lock_job(self.get_object().job_id)
            return super().partial_update(request, *args, **kwargs)

    @extend_schema(request=ReasonSerializer, responses=VisitSerializer)
    @action(detail=True, methods=["post"])
    def cancel(self, request: Request, pk: str) -> Response:
        """Cancel a booked visit, under If-Match; its crew is free again at once."""
        seen = self.get_object()
        reason = ReasonSerializer(data=request.data)
        reason.is_valid(raise_exception=True)
        with transaction.atomic():
            visit = lock_visit(seen.pk)
            require_match(request, visit)
            done = cancel_visit(visit, reason.validated_data["reason"], request.user)
        return Response(self.get_serializer(done).data, headers={"ETag": etag_of(done)})

    @extend_schema(request=HoldSerializer, responses=VisitSerializer)
    @action(detail=True, methods=["post"])
    def hold(self, request: Request, pk: str) -> Response:
        """Keep a booked visit where it is whatever a plan proposes, or not, under If-Match."""
        return self._mark(request, HoldSerializer, "held", hold)

    @extend_schema(request=ToldSerializer, responses=VisitSerializer)
    @action(detail=True, methods=["post"])
    def told(self, request: Request, pk: str) -> Response:
        """Record that the householder was told of the booked time, or not, under If-Match."""
        return self._mark(request, ToldSerializer, "told", mark_told)

    @extend_schema(request=FoundSerializer, responses=VisitSerializer)
    @action(detail=True, methods=["post"])
    def finish(self, request: Request, pk: str) -> Response:
        """Record what an electrician did or found, under If-Match; the fitting may follow."""
        return self._mark(request, FoundSerializer, "found", finish_seen)

    @extend_schema(request=SendAlongSerializer, responses=VisitSerializer)
    @action(detail=True, methods=["post"], url_path="send-along")
    def send_along(self, request: Request, pk: str) -> Response:
        """Send somebody of another crew along on a booked visit, or not, under If-Match."""
        seen = self.get_object()
        given = SendAlongSerializer(data=request.data, context=self.get_serializer_context())
        given.is_valid(raise_exception=True)
        act = lend if given.validated_data["lent"] else take_back
        with transaction.atomic():
            visit = lock_visit(seen.pk)
            require_match(request, visit)
            who = given.validated_data["operative"]
            done = act(visit, who, by=request.user, version=visit.version)
        return Response(self.get_serializer(done).data, headers={"ETag": etag_of(done)})

    @extend_schema(request=OverrunSerializer, responses={202: PlanRunSerializer})
    @action(detail=True, methods=["post"])
    def overrun(self, request: Request, pk: str) -> Response:
        """A visit lasts longer: look for a plan round it. Nothing is booked until that is accepted.

        Its new end is a line of the plan, as is whatever has to move for it.
        """
        seen, given = self.get_object(), OverrunSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        ends_at, waiting = given.validated_data["ends_at"], given.validated_data["waiting"]
        run = visit_overruns(seen, ends_at, by=request.user, waiting=Waiting(waiting))
        return Response(PlanRunSerializer(run).data, status=202)

    def _mark(self, request: Request, kind: Any, field: str, act: Any) -> Response:
        seen = self.get_object()
        given = kind(data=request.data)
        given.is_valid(raise_exception=True)
        with transaction.atomic():
            visit = lock_visit(seen.pk)
            require_match(request, visit)
            value = given.validated_data[field]
            done = act(visit, value, by=request.user, version=visit.version)
        return Response(self.get_serializer(done).data, headers={"ETag": etag_of(done)})


router = SimpleRouter()
router.register("visits", VisitViewSet, basename="api_visit")
urlpatterns = router.urls
