"""Audit rounds, their samples and findings over the API."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from compliance.audits.findings import record_finding
from compliance.audits.outcome import outcome_of
from compliance.audits.planning import crews_under
from compliance.audits.rounds import (
    RoundTerms,
    close_round,
    commit_round,
    draw_sample,
    give_up_round,
    population_file,
    reference_of,
    seal_population,
    widen_round,
)
from compliance.models import AuditRound, DrawnJob, Finding
from jobs.api.fields import VisibleRelatedField
from jobs.api.idempotency import IdempotentCreateMixin
from jobs.models import Company, Crew, Role

AUDITORS = frozenset({Role.AUDITOR})
COMPANY_READS = frozenset({Role.COMPLIANCE_OFFICER, Role.PLANNER})
TERMS = (
    "name",
    "period_from",
    "period_to",
    "company",
    "crew",
    "nation",
    "postcode_areas",
    "plan",
    "level",
    "severity",
    "aql",
    "confidence",
    "defective_share",
    "strata_by",
    "allocation",
)


class AuditRoundSerializer(serializers.ModelSerializer):
    company = serializers.PrimaryKeyRelatedField(
        queryset=Company.objects.none(), required=False, allow_null=True
    )
    crew = serializers.PrimaryKeyRelatedField(
        queryset=Crew.objects.none(), required=False, allow_null=True
    )
    seal_root_hex = serializers.CharField(source="seal.root_hex", read_only=True, default=None)

    class Meta:
        model = AuditRound
        fields = [
            "id",
            "scheme",
            "auditor",
            *TERMS,
            "severity_reason",
            "nonce_commitment",
            "nonce_hex",
            "seal",
            "seal_root_hex",
            "population_size",
            "population_sha256",
            "sample_size",
            "accept_at_most",
            "state",
            "accepted",
            "given_up_reason",
            "created_at",
            "drawn_at",
            "closed_at",
        ]
        read_only_fields = [name for name in fields if name not in (*TERMS, "nonce_commitment")]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        request = self.context.get("request")
        if request is not None and getattr(request.user, "scheme_id", None):
            companies = Company.objects.filter(schemes=request.user.scheme_id)
            self.fields["company"].queryset = companies
            self.fields["crew"].queryset = crews_under(request.user.scheme_id)

    def create(self, data: dict[str, Any]) -> AuditRound:
        auditor = self.context["request"].user
        commitment = data.pop("nonce_commitment")
        return commit_round(auditor.scheme, auditor, RoundTerms(**data), commitment)


class NonceSerializer(serializers.Serializer):
    nonce_hex = serializers.CharField(max_length=128)


class LimitsSerializer(serializers.Serializer):
    low = serializers.FloatField()
    estimate = serializers.FloatField()
    high = serializers.FloatField()
    method = serializers.CharField()


class AuditReasonSerializer(serializers.Serializer):
    reason = serializers.CharField(max_length=300)


class NextInspectionSerializer(serializers.Serializer):
    severity = serializers.CharField()
    stopped = serializers.BooleanField()
    why = serializers.CharField()


class OutcomeSerializer(serializers.Serializer):
    """`counted` is what the plan compares with `accept_at_most`: defective jobs of the first
    sample, by weight where it looked harder at some strata. `limits` are the population's."""

    drawn = serializers.IntegerField()
    read = serializers.IntegerField()
    defective = serializers.IntegerField()
    accept_at_most = serializers.IntegerField()
    accepted = serializers.BooleanField(allow_null=True)
    counted = serializers.IntegerField()
    limits = LimitsSerializer(allow_null=True)
    binomial = LimitsSerializer(allow_null=True)
    finite = LimitsSerializer(allow_null=True)
    next_inspection = NextInspectionSerializer(allow_null=True)
    what_follows = serializers.CharField()


class PopulationSerializer(serializers.Serializer):
    sha256 = serializers.CharField()
    jobs = serializers.ListField(
        child=serializers.CharField(), help_text="A job, or job, stratum and risk, by tabs."
    )


class AuditRoundViewSet(
    IdempotentCreateMixin,
    mixins.ListModelMixin,
    mixins.RetrieveModelMixin,
    viewsets.GenericViewSet[AuditRound],
):
    read_roles = AUDITORS
    write_roles = AUDITORS
    serializer_class = AuditRoundSerializer
    filterset_fields = ["state", "company"]
    queryset = AuditRound.objects.none()

    def get_queryset(self) -> Any:
        return AuditRound.objects.visible_to(self.request.user).select_related("seal")

    @extend_schema(request=None, responses=AuditRoundSerializer)
    @action(detail=True, methods=["post"])
    def seal(self, request: Request, pk: str) -> Response:
        """Write the population down and seal it."""
        return Response(self.get_serializer(seal_population(self.get_object())).data)

    @extend_schema(request=NonceSerializer, responses=AuditRoundSerializer)
    @action(detail=True, methods=["post"])
    def draw(self, request: Request, pk: str) -> Response:
        """Reveal the nonce and draw the sample."""
        record = self.get_object()
        sent = NonceSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        drawn = draw_sample(record, sent.validated_data["nonce_hex"])
        return Response(self.get_serializer(drawn).data)

    @extend_schema(request=None, responses=AuditRoundSerializer)
    @action(detail=True, methods=["post"])
    def close(self, request: Request, pk: str) -> Response:
        """End the round once every drawn job was read."""
        return Response(self.get_serializer(close_round(self.get_object())).data)

    @extend_schema(request=AuditReasonSerializer, responses=AuditRoundSerializer)
    @action(detail=True, methods=["post"])
    def widen(self, request: Request, pk: str) -> Response:
        """Draw as many jobs again from the same population, after a round was not accepted."""
        widen_round(self.get_object(), self._reason(request), request.user)
        return Response(self.get_serializer(self.get_object()).data)

    @extend_schema(request=AuditReasonSerializer, responses=AuditRoundSerializer)
    @action(detail=True, methods=["post"], url_path="give-up")
    def give_up(self, request: Request, pk: str) -> Response:
        """End a round without a draw; it stays in the list with the reason."""
        record = give_up_round(self.get_object(), self._reason(request))
        return Response(self.get_serializer(record).data)

    def _reason(self, request: Request) -> str:
        sent = AuditReasonSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        return str(sent.validated_data["reason"])

    @extend_schema(responses=OutcomeSerializer)
    @action(detail=True, methods=["get"])
    def outcome(self, request: Request, pk: str) -> Response:
        """Accepted or not, and exact limits for the population."""
        return Response(OutcomeSerializer(outcome_of(self.get_object())).data)

    @extend_schema(responses=PopulationSerializer)
    @action(detail=True, methods=["get"])
    def population(self, request: Request, pk: str) -> Response:
        """The sealed population, in the order in which it was hashed."""
        record = self.get_object()
        references = population_file(record).splitlines()
        return Response({"sha256": record.population_sha256, "jobs": references})


class DrawnJobSerializer(serializers.ModelSerializer):
    job_reference = serializers.SerializerMethodField()

    class Meta:
        model = DrawnJob
        fields = [
            "id",
            "round",
            "job",
            "job_reference",
            "draw_order",
            "stratum",
            "weight",
            "widening",
        ]
        read_only_fields = fields

    def get_job_reference(self, drawn: DrawnJob) -> str:
        return reference_of(drawn.job_id)


class DrawnJobViewSet(viewsets.ReadOnlyModelViewSet[DrawnJob]):
    read_roles = AUDITORS
    write_roles: frozenset[str] = frozenset()
    serializer_class = DrawnJobSerializer
    filterset_fields = ["round"]
    queryset = DrawnJob.objects.none()

    def get_queryset(self) -> Any:
        return DrawnJob.objects.visible_to(self.request.user)


class FindingSerializer(serializers.ModelSerializer):
    drawn_job = VisibleRelatedField(queryset=DrawnJob.objects.select_related("round", "job"))

    class Meta:
        model = Finding
        fields = [
            "id",
            "drawn_job",
            "severity",
            "concerns",
            "text",
            "found_by",
            "found_at",
            "answer_due_on",
        ]
        read_only_fields = ["found_by", "found_at", "answer_due_on"]

    def create(self, data: dict[str, Any]) -> Finding:
        return record_finding(data.pop("drawn_job"), self.context["request"].user, **data)


class FindingViewSet(
    IdempotentCreateMixin,
    mixins.ListModelMixin,
    mixins.RetrieveModelMixin,
    viewsets.GenericViewSet[Finding],
):
    """Auditors record findings; the company reads those on its own jobs once released."""

    read_roles = AUDITORS | COMPANY_READS
    write_roles = AUDITORS
    serializer_class = FindingSerializer
    filterset_fields = ["drawn_job", "severity"]
    queryset = Finding.objects.none()

    def get_queryset(self) -> Any:
        return Finding.objects.visible_to(self.request.user)


router = SimpleRouter()
router.register("audit-rounds", AuditRoundViewSet, basename="api_audit_round")
router.register("drawn-jobs", DrawnJobViewSet, basename="api_drawn_job")
router.register("findings", FindingViewSet, basename="api_finding")
urlpatterns = router.urls
