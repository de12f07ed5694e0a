"""What auditors ask for after findings, and how the next rounds are inspected."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from compliance.api.audits import AUDITORS, COMPANY_READS, AuditReasonSerializer
from compliance.api.roles import NOBODY
from compliance.audits.follow_up import ask_follow_up, take_up, turn_down
from compliance.audits.switching import Subject, resume_inspection
from compliance.models import AuditFollowUp, Finding, SwitchingStep
from jobs.api.fields import VisibleRelatedField
from jobs.api.idempotency import IdempotentCreateMixin


class FollowUpSerializer(serializers.ModelSerializer):
    """`done` is null until the company has answered."""

    finding = VisibleRelatedField(
        queryset=Finding.objects.select_related("drawn_job__round", "drawn_job__job")
    )
    reason = serializers.CharField(max_length=600, required=False, allow_blank=True)
    done = serializers.SerializerMethodField()
    note = serializers.SerializerMethodField()

    class Meta:
        model = AuditFollowUp
        fields = ["id", "kind", "round", "finding", "job", "reason", "due_on"]
        fields += ["asked_at", "done", "note"]
        read_only_fields = ["round", "job", "due_on", "asked_at"]

    def get_done(self, follow_up: AuditFollowUp) -> bool | None:
        return follow_up.answer.done if hasattr(follow_up, "answer") else None

    def get_note(self, follow_up: AuditFollowUp) -> str:
        return follow_up.answer.note if hasattr(follow_up, "answer") else ""

    def create(self, data: dict[str, Any]) -> AuditFollowUp:
        return ask_follow_up(**data, by=self.context["request"].user)


class FollowUpAnswerSerializer(serializers.Serializer):
    done = serializers.BooleanField()
    note = serializers.CharField(required=False, allow_blank=True, default="", max_length=600)


class FollowUpViewSet(
    IdempotentCreateMixin,
    mixins.ListModelMixin,
    mixins.RetrieveModelMixin,
    viewsets.GenericViewSet[AuditFollowUp],
):
    """Call-backs and withdrawals that auditors ask of a company."""

    read_roles = AUDITORS | COMPANY_READS
    write_roles = AUDITORS
    serializer_class = FollowUpSerializer
    filterset_fields = ["kind", "round", "finding"]
    queryset = AuditFollowUp.objects.none()

    def get_queryset(self) -> Any:
        return AuditFollowUp.objects.visible_to(self.request.user).with_place()

    @extend_schema(request=FollowUpAnswerSerializer, responses=FollowUpSerializer)
    @action(detail=True, methods=["post"], write_roles=COMPANY_READS)
    def answer(self, request: Request, pk: str) -> Response:
        """Withdraw the certificate or plan the call-back, or say why not."""
        follow_up = self.get_object()
        sent = FollowUpAnswerSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        act = take_up if sent.validated_data["done"] else turn_down
        act(follow_up, request.user, sent.validated_data["note"])
        return Response(self.get_serializer(self.get_queryset().get(pk=follow_up.pk)).data)


class SeriesSerializer(serializers.ModelSerializer):
    """How the next round over a crew, company or scheme is inspected, and why."""

    class Meta:
        model = SwitchingStep
        fields = ["id", "company", "crew", "round", "severity", "score", "stopped", "why"]
        fields += ["recorded_at"]
        read_only_fields = fields


class SeriesViewSet(viewsets.ReadOnlyModelViewSet[SwitchingStep]):
    """Where each series of rounds stands by the switching rules."""

    read_roles = AUDITORS
    write_roles = NOBODY
    serializer_class = SeriesSerializer
    queryset = SwitchingStep.objects.none()

    def get_queryset(self) -> Any:
        return SwitchingStep.objects.visible_to(self.request.user).newest()

    @extend_schema(request=AuditReasonSerializer, responses=SeriesSerializer)
    @action(detail=True, methods=["post"], write_roles=AUDITORS)
    def resume(self, request: Request, pk: str) -> Response:
        """Go on after a stop, tightened from the start."""
        step = self.get_object()
        sent = AuditReasonSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        subject = Subject(step.scheme, step.company, step.crew)
        return Response(
            self.get_serializer(
                resume_inspection(subject, request.user, sent.validated_data["reason"])
            ).data
        )


router = SimpleRouter()
router.register("audit-follow-ups", FollowUpViewSet, basename="api_audit_follow_up")
router.register("audit-series", SeriesViewSet, basename="api_audit_series")
urlpatterns = router.urls
