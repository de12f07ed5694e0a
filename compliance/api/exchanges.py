"""Answers to findings with their evidence, the auditor's replies, and what auditors opened."""

from __future__ import annotations

from typing import Any

from rest_framework import mixins, serializers, viewsets
from rest_framework.routers import SimpleRouter

from compliance.api.audits import AUDITORS, COMPANY_READS
from compliance.api.roles import NOBODY
from compliance.audits.access import openings_of
from compliance.audits.answers import answer_finding, reply_to_answer
from compliance.models import (
    AnswerEvidence,
    AnswerInspection,
    EvidenceAccess,
    Finding,
    FindingAnswer,
    FindingReply,
)
from jobs.api.fields import VisibleRelatedField
from jobs.api.idempotency import IdempotentCreateMixin
from jobs.models import Role

OF_FINDING = Finding.objects.select_related("drawn_job__job")


class AnswerDoubtOut(serializers.Serializer):
    """What speaks against a picture, in words for a person."""

    code = serializers.CharField()
    text = serializers.CharField()


class AnswerInspectionOut(serializers.ModelSerializer):
    """What a picture's EXIF and its looks say, by the inspector of that version."""

    warnings = AnswerDoubtOut(many=True, read_only=True)

    class Meta:
        model = AnswerInspection
        fields = [
            "inspector_version",
            "readable",
            "width_px",
            "height_px",
            "exif_taken_at",
            "exif_time_source",
            "device",
            "warnings",
            "inspected_at",
        ]
        read_only_fields = fields


class AnswerEvidenceOut(serializers.ModelSerializer):
    """A file by its SHA-256, or the key of stored evidence such as "photo:12".

    inspections: of a picture, the newest last; empty until it was looked at.
    """

    inspections = AnswerInspectionOut(many=True, read_only=True)

    class Meta:
        model = AnswerEvidence
        fields = [
            "id",
            "concerns",
            "sha256",
            "size_bytes",
            "media_type",
            "added_at",
            "inspections",
        ]
        read_only_fields = fields


class FindingAnswerSerializer(serializers.ModelSerializer):
    """files: photos or PDF documents, as multipart parts. links: such as "photo:12"."""

    finding = VisibleRelatedField(queryset=OF_FINDING)
    files = serializers.ListField(child=serializers.FileField(), required=False, write_only=True)
    links = serializers.ListField(
        child=serializers.CharField(max_length=60), required=False, write_only=True
    )
    evidence = AnswerEvidenceOut(many=True, read_only=True)

    class Meta:
        model = FindingAnswer
        fields = [
            "id",
            "finding",
            "text",
            "files",
            "links",
            "evidence",
            "answered_by",
            "answered_at",
        ]
        read_only_fields = ["answered_by", "answered_at"]

    def create(self, data: dict[str, Any]) -> FindingAnswer:
        by = self.context["request"].user
        finding, text = data.pop("finding"), data.pop("text")
        return answer_finding(finding, by, text, **data)


class FindingAnswerViewSet(
    IdempotentCreateMixin,
    mixins.ListModelMixin,
    mixins.RetrieveModelMixin,
    viewsets.GenericViewSet[FindingAnswer],
):
    """What the company answers to findings on its jobs, with what proves it."""

    read_roles = AUDITORS | COMPANY_READS
    write_roles = frozenset({Role.COMPLIANCE_OFFICER})
    serializer_class = FindingAnswerSerializer
    filterset_fields = ["finding"]
    queryset = FindingAnswer.objects.none()

    def get_queryset(self) -> Any:
        return FindingAnswer.objects.visible_to(self.request.user).prefetch_related(
            "evidence__inspections"
        )


class FindingReplySerializer(serializers.ModelSerializer):
    """The word on the finding's newest answer; `accepted` closes it, else `text` says why not."""

    finding = VisibleRelatedField(queryset=OF_FINDING)

    class Meta:
        model = FindingReply
        fields = [
            "id",
            "finding",
            "answer",
            "accepted",
            "text",
            "answer_due_on",
            "replied_by",
            "replied_at",
        ]
        read_only_fields = ["answer", "answer_due_on", "replied_by", "replied_at"]

    def create(self, data: dict[str, Any]) -> FindingReply:
        return reply_to_answer(data.pop("finding"), self.context["request"].user, **data)


class FindingReplyViewSet(
    IdempotentCreateMixin,
    mixins.ListModelMixin,
    mixins.RetrieveModelMixin,
    viewsets.GenericViewSet[FindingReply],
):
    """What auditors make of answers."""

    read_roles = AUDITORS | COMPANY_READS
    write_roles = AUDITORS
    serializer_class = FindingReplySerializer
    filterset_fields = ["finding"]
    queryset = FindingReply.objects.none()

    def get_queryset(self) -> Any:
        return FindingReply.objects.visible_to(self.request.user)


class EvidenceOpeningOut(serializers.ModelSerializer):
    class Meta:
        model = EvidenceAccess
        fields = ["id", "job", "person", "what", "opened_at"]
        read_only_fields = fields


class EvidenceOpeningViewSet(mixins.ListModelMixin, viewsets.GenericViewSet[EvidenceAccess]):
    """What auditors opened of the company's evidence, the latest first."""

    read_roles = COMPANY_READS
    write_roles = NOBODY
    serializer_class = EvidenceOpeningOut
    filterset_fields = ["job"]
    queryset = EvidenceAccess.objects.none()

    def get_queryset(self) -> Any:
        return openings_of(self.request.user)


router = SimpleRouter()
router.register("finding-answers", FindingAnswerViewSet, basename="api_finding_answer")
router.register("finding-replies", FindingReplyViewSet, basename="api_finding_reply")
router.register("evidence-openings", EvidenceOpeningViewSet, basename="api_evidence_opening")
urlpatterns = router.urls
