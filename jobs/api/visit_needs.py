"""What visits are still needed, over the API: listed, changed under If-Match, with agreed times."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.db import transaction
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from jobs.api.concurrency import VersionedUpdateMixin, etag_of, require_match
from jobs.api.fields import VisibleRelatedField
from jobs.api.idempotency import IdempotentCreateMixin
from jobs.api.jobs import ReasonSerializer
from jobs.api.roles import OFFICE, PLANNER
from jobs.models import AgreedWindow, Crew, Skill, VisitNeed
from jobs.planning.agreeing import agree_window, drop_window
from jobs.planning.need_edits import change_need, reopen_need, withdraw_need, work_out_again
from jobs.stages import lock_job


class PartHoursField(serializers.ListField):
    child = serializers.FloatField(min_value=0.25, max_value=14)


class VisitNeedSerializer(serializers.ModelSerializer):
    """A visit that a job needs. `part_hours` are the hours of each day's work."""

    part_hours = PartHoursField(min_length=1, max_length=20, required=False)
    hours = serializers.FloatField(read_only=True)
    skills = serializers.ListField(
        child=serializers.ChoiceField(choices=Skill.choices), required=False
    )
    fixed_crew = VisibleRelatedField(queryset=Crew.objects.all(), required=False, allow_null=True)
    preferred_crew = VisibleRelatedField(
        queryset=Crew.objects.all(), required=False, allow_null=True
    )
    barred_crews = VisibleRelatedField(queryset=Crew.objects.all(), required=False, many=True)
    after = VisibleRelatedField(queryset=VisitNeed.objects.all(), required=False, allow_null=True)

    class Meta:
        model = VisitNeed
        fields = [
            "id",
            "job",
            "kind",
            "state",
            "part_hours",
            "hours",
            "crew_size",
            "skills",
            "volume_m3",
            "priority",
            "earliest_on",
            "due_on",
            "fixed_crew",
            "preferred_crew",
            "barred_crews",
            "after",
            "after_gap_hours",
            "note",
            "set_by_hand",
            "version",
        ]
        read_only_fields = ["job", "kind", "state", "volume_m3", "set_by_hand", "version"]
        validators: list[Any] = []

    def update(self, need: VisitNeed, data: dict[str, Any]) -> VisitNeed:
        by = self.context["request"].user
        return change_need(need, by=by, version=need.version, **data)


class VisitNeedViewSet(
    VersionedUpdateMixin, mixins.ListModelMixin, viewsets.GenericViewSet[VisitNeed]
):
    read_roles = OFFICE
    write_roles = PLANNER
    queryset = VisitNeed.objects.none()
    serializer_class = VisitNeedSerializer
    filterset_fields = ["job", "kind", "state", "fixed_crew", "preferred_crew", "after"]

    def get_queryset(self) -> Any:
        needs = VisitNeed.objects.visible_to(self.request.user)
        return needs.with_job().prefetch_related("barred_crews")

    def partial_update(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Change a need, under If-Match; what is changed is not worked out again."""
        with transaction.atomic():
            lock_job(self.get_object().job_id)
            return super().partial_update(request, *args, **kwargs)

    @extend_schema(request=ReasonSerializer, responses=VisitNeedSerializer)
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, pk: str) -> Response:
        """Say that the visit is not needed, and why, under If-Match."""
        return self._act(request, lambda need, **by: withdraw_need(need, _reason(request), **by))

    @extend_schema(request=None, responses=VisitNeedSerializer)
    @action(detail=True, methods=["post"])
    def reopen(self, request: Request, pk: str) -> Response:
        """Ask again for a visit that was withdrawn, under If-Match."""
        return self._act(request, reopen_need)

    @extend_schema(request=None, responses=VisitNeedSerializer)
    @action(detail=True, methods=["post"], url_path="work-out")
    def work_out(self, request: Request, pk: str) -> Response:
        """Forget what was set by hand and work everything out again, under If-Match."""
        return self._act(request, work_out_again)

    def _act(self, request: Request, act: Callable[..., VisitNeed]) -> Response:
        with transaction.atomic():
            seen = self.get_object()
            lock_job(seen.job_id)
            need = self.get_object()
            require_match(request, need)
            done = act(need, by=request.user, version=need.version)
        return Response(self.get_serializer(done).data, headers={"ETag": etag_of(done)})


def _reason(request: Request) -> str:
    reason = ReasonSerializer(data=request.data)
    reason.is_valid(raise_exception=True)
    return str(reason.validated_data["reason"])


class AgreedWindowSerializer(serializers.ModelSerializer):
    """A time in which the householder expects the crew."""

    need = VisibleRelatedField(queryset=VisitNeed.objects.all())
    starts_at = serializers.DateTimeField(source="during.lower")
    ends_at = serializers.DateTimeField(source="during.upper")

    class Meta:
        model = AgreedWindow
        fields = ["id", "need", "starts_at", "ends_at", "whole", "note"]

    def create(self, data: dict[str, Any]) -> AgreedWindow:
        during = data.pop("during")
        by = self.context["request"].user
        return agree_window(data.pop("need"), during["lower"], during["upper"], by=by, **data)


class AgreedWindowViewSet(
    IdempotentCreateMixin,
    mixins.ListModelMixin,
    mixins.RetrieveModelMixin,
    mixins.DestroyModelMixin,
    viewsets.GenericViewSet[AgreedWindow],
):
    read_roles = OFFICE
    write_roles = PLANNER
    queryset = AgreedWindow.objects.none()
    serializer_class = AgreedWindowSerializer
    filterset_fields = ["need"]

    def get_queryset(self) -> Any:
        return AgreedWindow.objects.visible_to(self.request.user).select_related("need")

    def perform_destroy(self, window: AgreedWindow) -> None:
        drop_window(window, self.request.user)


router = SimpleRouter()
router.register("visit-needs", VisitNeedViewSet, basename="api_visit_need")
router.register("agreed-windows", AgreedWindowViewSet, basename="api_agreed_window")
urlpatterns = router.urls
