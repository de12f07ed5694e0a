"""Assessments over the API: read, and asked for again."""

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

from compliance.api.roles import SENDERS, VERDICT_READERS
from compliance.assess import assess_job, rerun
from compliance.evidence_access import note_access
from compliance.models import Assessment
from jobs.api.fields import IdFilter, VisibleRelatedField
from jobs.models import Job


class AssessmentSerializer(serializers.ModelSerializer):
    """Depths in mm, floor in m2. `arithmetic` holds every step that led to the verdict."""

    job = VisibleRelatedField(queryset=Job.objects.all())

    class Meta:
        model = Assessment
        fields = [
            "id",
            "job",
            "number",
            "rule",
            "engine_version",
            "verdict",
            "missing",
            "deficit_mm",
            "deficit_area_m2",
            "mean_depth_mm",
            "least_depth_mm",
            "reading_count",
            "inputs_sha256",
            "made_at",
        ]
        read_only_fields = [name for name in fields if name != "job"]


class AssessmentInFullSerializer(AssessmentSerializer):
    """One assessment with what it was given and every step; `inputs` give the answer again."""

    inputs = serializers.JSONField(read_only=True)
    arithmetic = serializers.JSONField(read_only=True)

    class Meta(AssessmentSerializer.Meta):
        fields = [*AssessmentSerializer.Meta.fields, "inputs", "arithmetic"]


class RerunSerializer(serializers.Serializer):
    """`agrees` is null where another engine runs than the one that judged it."""

    agrees = serializers.BooleanField(allow_null=True)
    engine_then = serializers.CharField()
    engine_now = serializers.CharField()
    same_verdict = serializers.BooleanField()
    same_arithmetic = serializers.BooleanField()
    in_words = serializers.CharField()


class AssessmentFilter(django_filters.FilterSet):
    job = IdFilter()
    latest = django_filters.BooleanFilter(method="only_latest")

    class Meta:
        model = Assessment
        fields = ["job", "verdict", "latest"]

    def only_latest(self, rows: Any, name: str, value: bool) -> Any:
        return rows.latest_per_job() if value else rows


class AssessmentViewSet(
    mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Assessment]
):
    read_roles = VERDICT_READERS
    write_roles = SENDERS
    serializer_class = AssessmentSerializer
    filterset_class = AssessmentFilter
    queryset = Assessment.objects.none()

    def get_serializer_class(self) -> Any:
        return AssessmentSerializer if self.action == "list" else AssessmentInFullSerializer

    def get_queryset(self) -> QuerySet[Assessment]:
        rows = Assessment.objects.visible_to(self.request.user)
        return rows.defer("inputs", "arithmetic") if self.action == "list" else rows

    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """One assessment with its inputs, which are evidence: that it was opened is kept."""
        assessment = self.get_object()
        note_access(assessment.job, request.user, f"verdict {assessment.number} over the API")
        return Response(self.get_serializer(assessment).data)

    @extend_schema(request=AssessmentSerializer, responses=AssessmentInFullSerializer)
    def create(self, request: Request) -> Response:
        """Assess a job now. Without new evidence the answer is the assessment there already is."""
        asked = AssessmentSerializer(data=request.data, context=self.get_serializer_context())
        asked.is_valid(raise_exception=True)
        assessment = assess_job(asked.validated_data["job"].pk)
        return Response(self.get_serializer(assessment).data)

    @extend_schema(responses=RerunSerializer)
    @action(detail=True, methods=["get"])
    def rerun(self, request: Request, pk: str) -> Response:
        """Whether the stored inputs still give the stored answer."""
        return Response(RerunSerializer(rerun(self.get_object())).data)


router = SimpleRouter()
router.register("assessments", AssessmentViewSet, basename="api_assessment")
urlpatterns = router.urls
