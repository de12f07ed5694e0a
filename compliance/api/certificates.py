"""Certificates over the API: issued once a job, read, withdrawn, fetched as the signed PDF."""

from __future__ import annotations

import django_filters
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from compliance.api.roles import OFFICER, PROOF_READERS
from compliance.certificates.contents import check_address
from compliance.certificates.issue import issue_certificate
from compliance.certificates.withdraw import GIVEN_BY_A_PERSON, Kind, withdraw_certificate
from compliance.evidence_access import note_access
from compliance.models import Certificate
from compliance.pages.certificate_files import pdf_answer
from jobs.api.fields import IdFilter, VisibleRelatedField
from jobs.models import Job


class CertificateSerializer(serializers.ModelSerializer):
    job = VisibleRelatedField(queryset=Job.objects.all())
    current = serializers.BooleanField(source="is_current", read_only=True)
    check_address = serializers.SerializerMethodField()
    withdrawn_at = serializers.DateTimeField(
        source="withdrawal.withdrawn_at", read_only=True, default=None
    )
    withdrawal_kind = serializers.CharField(source="withdrawal.kind", read_only=True, default=None)
    withdrawal_reason = serializers.CharField(
        source="withdrawal.reason", read_only=True, default=None
    )

    class Meta:
        model = Certificate
        fields = [
            "id",
            "code",
            "job",
            "assessment",
            "issued_at",
            "issued_by",
            "current",
            "withdrawn_at",
            "withdrawal_kind",
            "withdrawal_reason",
            "pdf_sha256",
            "key_fingerprint",
            "check_address",
        ]
        read_only_fields = [name for name in fields if name != "job"]

    def get_check_address(self, certificate: Certificate) -> str:
        return check_address(certificate.code)


class WithdrawalSerializer(serializers.Serializer):
    """The kind is shown on the public check page, the reason to the company and its auditor."""

    kind = serializers.ChoiceField(choices=GIVEN_BY_A_PERSON, default=Kind.OTHER.value)
    reason = serializers.CharField(max_length=300)


class MadeAgainSerializer(serializers.Serializer):
    """`same_file` is null where the signature can't be repeated: another key, or a device's."""

    same_document = serializers.BooleanField()
    same_file = serializers.BooleanField(allow_null=True)
    typesetter = serializers.CharField()


class CertificateFilter(django_filters.FilterSet):
    job = IdFilter()
    current = django_filters.BooleanFilter("withdrawal", lookup_expr="isnull")

    class Meta:
        model = Certificate
        fields = ["job", "current"]


class CertificateViewSet(
    mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Certificate]
):
    read_roles = PROOF_READERS
    write_roles = OFFICER
    serializer_class = CertificateSerializer
    filterset_class = CertificateFilter
    queryset = Certificate.objects.none()
    lookup_field = "code"
    lookup_value_regex = "[0-9A-Za-z-]+"

    def get_queryset(self) -> QuerySet[Certificate]:
        certificates = Certificate.objects.visible_to(self.request.user)
        return certificates.select_related("job", "withdrawal").defer("contents")

    @extend_schema(request=CertificateSerializer, responses=CertificateSerializer)
    def create(self, request: Request) -> Response:
        """Issue the certificate of a job that meets its rule; there is never a second one."""
        asked = self.get_serializer(data=request.data)
        asked.is_valid(raise_exception=True)
        certificate = issue_certificate(asked.validated_data["job"].pk, request.user)
        return Response(self.get_serializer(certificate).data, status=201)

    @extend_schema(request=WithdrawalSerializer, responses=CertificateSerializer)
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, code: str) -> Response:
        """Take it back. It stays readable and says so on its check page."""
        certificate = self.get_object()
        asked = WithdrawalSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        given = asked.validated_data
        withdraw_certificate(certificate, given["reason"], request.user, kind=given["kind"])
        return Response(self.get_serializer(self.get_object()).data)

    @extend_schema(responses={(200, "application/pdf"): OpenApiTypes.BINARY})
    @action(detail=True, methods=["get"])
    def pdf(self, request: Request, code: str) -> HttpResponse:
        """The signed file, byte for byte as it was issued."""
        certificate = self.get_object()
        note_access(certificate.job, request.user, f"certificate {certificate.code}")
        return pdf_answer(certificate)

    @extend_schema(request=None, responses=MadeAgainSerializer)
    @action(detail=True, methods=["post"], url_path="made-again")
    def made_again(self, request: Request, code: str) -> Response:
        """Make it again from its record and compare with the file that was issued."""
        # The typesetter and the signer are half a second of imports that few requests need.
        from compliance.certificates.again import compare

        return Response(MadeAgainSerializer(compare(self.get_object())).data)


router = SimpleRouter()
router.register("certificates", CertificateViewSet, basename="api_certificate")
urlpatterns = router.urls
