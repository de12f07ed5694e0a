"""Absences of crews and operatives over the API."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from rest_framework import mixins, serializers, viewsets
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from jobs.api.concurrency import VersionedUpdateMixin, require_match
from jobs.api.fields import VisibleRelatedField
from jobs.api.idempotency import IdempotentCreateMixin
from jobs.api.roles import OFFICE, PLANNER
from jobs.models import Absence, Crew, Operative
from jobs.planning.absences import change_absence, end_absence, record_absence


class AbsenceSerializer(serializers.ModelSerializer):
    """A stretch of time in which a crew, or one operative, cannot be sent."""

    crew = VisibleRelatedField(queryset=Crew.objects.all(), required=False, allow_null=True)
    operative = VisibleRelatedField(
        queryset=Operative.objects.all(), required=False, allow_null=True
    )
    starts_at = serializers.DateTimeField(source="during.lower")
    ends_at = serializers.DateTimeField(source="during.upper")

    class Meta:
        model = Absence
        fields = ["id", "crew", "operative", "starts_at", "ends_at", "reason", "note", "version"]
        read_only_fields = ["version"]
        validators: list[Any] = []

    def validate(self, data: dict[str, Any]) -> dict[str, Any]:
        fixed = {"crew", "operative"} & data.keys()
        if self.instance is not None and fixed:
            raise serializers.ValidationError(
                dict.fromkeys(fixed, "An absence stays with who is away. Record another one.")
            )
        return data

    def create(self, data: dict[str, Any]) -> Absence:
        user = self.context["request"].user
        return record_absence(user.company, by=user, **_times(data))

    def update(self, absence: Absence, data: dict[str, Any]) -> Absence:
        by = self.context["request"].user
        return change_absence(absence, by=by, version=absence.version, **_times(data))


def _times(data: dict[str, Any]) -> dict[str, Any]:
    """`during` given in halves becomes `starts_at` and `ends_at`."""
    during = data.pop("during", {})
    names = {"lower": "starts_at", "upper": "ends_at"}
    return data | {names[half]: moment for half, moment in during.items()}


class AbsenceViewSet(
    IdempotentCreateMixin,
    VersionedUpdateMixin,
    mixins.ListModelMixin,
    mixins.DestroyModelMixin,
    viewsets.GenericViewSet[Absence],
):
    read_roles = OFFICE
    write_roles = PLANNER
    queryset = Absence.objects.none()
    serializer_class = AbsenceSerializer
    filterset_fields = ["crew", "operative", "reason"]

    def get_queryset(self) -> Any:
        return Absence.objects.visible_to(self.request.user)

    def destroy(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Take an absence back, under If-Match; its history stays."""
        with transaction.atomic():
            absence = self.get_object()
            require_match(request, absence)
            end_absence(absence, by=request.user, version=absence.version)
        return Response(status=204)


router = SimpleRouter()
router.register("absences", AbsenceViewSet, basename="api_absence")
urlpatterns = router.urls
