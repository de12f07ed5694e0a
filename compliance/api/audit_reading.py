"""Reading drawn jobs over the API: drafts, release, read marks, depths measured again."""

from __future__ import annotations

from typing import Any

from django.shortcuts import get_object_or_404
from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter
from rest_framework.views import APIView

from compliance.api.audits import AUDITORS, COMPANY_READS
from compliance.api.roles import NOBODY
from compliance.audits.findings import change_draft, discard_draft, draft_finding, release_drafts
from compliance.audits.reading import mark_read
from compliance.audits.remeasuring import Again, agreement_of, remeasure
from compliance.models import AuditRound, DrawnJob, FindingDraft, JobRead, Remeasurement
from jobs.api.fields import VisibleRelatedField
from jobs.api.idempotency import IdempotentCreateMixin
from jobs.models import DepthReading


class FindingDraftSerializer(serializers.ModelSerializer):
    drawn_job = VisibleRelatedField(queryset=DrawnJob.objects.select_related("round", "job"))

    class Meta:
        model = FindingDraft
        fields = ["id", "drawn_job", "severity", "concerns", "text", "written_by", "written_at"]
        read_only_fields = ["written_by", "written_at"]

    def create(self, data: dict[str, Any]) -> FindingDraft:
        return draft_finding(data.pop("drawn_job"), self.context["request"].user, **data)

    def update(self, draft: FindingDraft, data: dict[str, Any]) -> FindingDraft:
        data.pop("drawn_job", None)
        kept = {name: getattr(draft, name) for name in ("severity", "concerns", "text")}
        return change_draft(draft, **(kept | data))


class FindingDraftViewSet(
    IdempotentCreateMixin,
    mixins.ListModelMixin,
    mixins.RetrieveModelMixin,
    mixins.DestroyModelMixin,
    viewsets.GenericViewSet[FindingDraft],
):
    """Findings that nobody of the company sees yet; the auditors of the scheme alone."""

    read_roles = AUDITORS
    write_roles = AUDITORS
    serializer_class = FindingDraftSerializer
    filterset_fields = ["drawn_job", "severity"]
    queryset = FindingDraft.objects.none()

    def get_queryset(self) -> Any:
        rows = FindingDraft.objects.visible_to(self.request.user)
        return rows.select_related("drawn_job__round", "drawn_job__job")

    @extend_schema(request=FindingDraftSerializer(partial=True))
    def partial_update(self, request: Request, pk: str) -> Response:
        """Write a draft anew; it stays on its job."""
        sent = self.get_serializer(self.get_object(), data=request.data, partial=True)
        sent.is_valid(raise_exception=True)
        sent.save()
        return Response(sent.data)

    def perform_destroy(self, instance: FindingDraft) -> None:
        discard_draft(instance)


class JobReadSerializer(serializers.ModelSerializer):
    drawn_job = VisibleRelatedField(queryset=DrawnJob.objects.select_related("round", "job"))

    class Meta:
        model = JobRead
        fields = ["id", "drawn_job", "read_by", "read_at"]
        read_only_fields = ["read_by", "read_at"]

    def create(self, data: dict[str, Any]) -> JobRead:
        return mark_read(data["drawn_job"], self.context["request"].user)


class JobReadViewSet(
    IdempotentCreateMixin,
    mixins.ListModelMixin,
    mixins.RetrieveModelMixin,
    viewsets.GenericViewSet[JobRead],
):
    """Drawn jobs that were read to their end. One without a finding is thereby found sound."""

    read_roles = AUDITORS
    write_roles = AUDITORS
    serializer_class = JobReadSerializer
    filterset_fields = ["drawn_job"]
    queryset = JobRead.objects.none()

    def get_queryset(self) -> Any:
        return JobRead.objects.visible_to(self.request.user)


class ReleasedOut(serializers.Serializer):
    released = serializers.IntegerField()


class ReleaseView(APIView):
    """Make the drafts of a drawn job findings, which the company sees from then on."""

    read_roles = NOBODY
    write_roles = AUDITORS

    @extend_schema(request=None, responses=ReleasedOut)
    def post(self, request: Request, pk: int) -> Response:
        rows = DrawnJob.objects.visible_to(request.user).select_related("round", "job")
        found = release_drafts(get_object_or_404(rows, pk=pk), request.user)
        return Response({"released": len(found)})


class RemeasurementSerializer(serializers.ModelSerializer):
    """x_mm, y_mm: left out, the reading's own place. A second one at a reading corrects the first.

    measured_at, phone_sent_at: by the phone's clock; phone_at is another name of the former.
    """

    drawn_job = VisibleRelatedField(queryset=DrawnJob.objects.select_related("round", "job"))
    reading = VisibleRelatedField(queryset=DepthReading.objects.all())
    x_mm = serializers.FloatField(required=False)
    y_mm = serializers.FloatField(required=False)
    measured_at = serializers.DateTimeField(required=False)
    phone_at = serializers.DateTimeField(required=False, write_only=True)
    client_key = serializers.UUIDField(required=False)
    difference_mm = serializers.FloatField(read_only=True)

    class Meta:
        model = Remeasurement
        fields = [
            "id",
            "drawn_job",
            "reading",
            "x_mm",
            "y_mm",
            "depth_mm",
            "difference_mm",
            "note",
            "correction_reason",
            "replaces",
            "measured_by",
            "measured_at",
            "phone_at",
            "phone_sent_at",
            "received_at",
            "client_key",
        ]
        read_only_fields = ["replaces", "measured_by", "received_at"]

    def create(self, data: dict[str, Any]) -> Remeasurement:
        drawn, reading = data.pop("drawn_job"), data.pop("reading")
        if phone_at := data.pop("phone_at", None):
            data.setdefault("measured_at", phone_at)
        row = Again(reading.pk, sent_at=data.pop("phone_sent_at", None), **data)
        return remeasure(drawn, self.context["request"].user, [row])[0]


class RemeasurementViewSet(
    IdempotentCreateMixin,
    mixins.ListModelMixin,
    mixins.RetrieveModelMixin,
    viewsets.GenericViewSet[Remeasurement],
):
    """Auditors measure again; the company reads it once the round is closed."""

    read_roles = AUDITORS | COMPANY_READS
    write_roles = AUDITORS
    serializer_class = RemeasurementSerializer
    filterset_fields = ["drawn_job"]
    queryset = Remeasurement.objects.none()

    def get_queryset(self) -> Any:
        return Remeasurement.objects.visible_to(self.request.user).select_related("reading")


class AgreementOut(serializers.Serializer):
    """Auditor less installer [mm]: bias, standard deviation, limits of agreement."""

    pairs = serializers.IntegerField()
    bias = serializers.FloatField()
    spread = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()


class CrewAgreementOut(serializers.Serializer):
    crew = serializers.CharField(source="name")
    found = AgreementOut(allow_null=True)


class AgreementView(APIView):
    """How the auditor's depths agree with the installers' in a round, in all and by crew."""

    read_roles = AUDITORS
    write_roles = NOBODY

    @extend_schema(responses=CrewAgreementOut(many=True))
    def get(self, request: Request, pk: int) -> Response:
        record = get_object_or_404(AuditRound.objects.visible_to(request.user), pk=pk)
        found = agreement_of(record)
        return Response(CrewAgreementOut([found.whole, *found.crews], many=True).data)


router = SimpleRouter()
router.register("finding-drafts", FindingDraftViewSet, basename="api_finding_draft")
router.register("job-reads", JobReadViewSet, basename="api_job_read")
router.register("remeasurements", RemeasurementViewSet, basename="api_remeasurement")
urlpatterns = [
    path("drawn-jobs/<int:pk>/release/", ReleaseView.as_view(), name="api_drafts_release"),
    path("audit-rounds/<int:pk>/agreement/", AgreementView.as_view(), name="api_agreement"),
    *router.urls,
]
