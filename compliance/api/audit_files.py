"""What an auditor takes away of a round over the API: pictures, their figures, report, pack."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404
from django.urls import path, reverse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from compliance.api.packs import ZipRenderer
from compliance.api.roles import NOBODY
from compliance.audits.pack import round_scope
from compliance.audits.pictures import Picture, pictures_for
from compliance.audits.report import report_pdf
from compliance.models import AuditRound
from compliance.packs.sending import pack_answer
from jobs.models import Role

AUDITORS = frozenset({Role.AUDITOR})


class PdfRenderer(ZipRenderer):
    media_type = "application/pdf"
    format = "pdf"


class CsvRenderer(ZipRenderer):
    media_type = "text/csv"
    format = "csv"


class PictureSerializer(serializers.Serializer):
    """A picture as SVG, what to bear in mind, and where the figures behind it are."""

    key = serializers.CharField()
    title = serializers.CharField()
    note = serializers.CharField()
    svg = serializers.CharField()
    csv = serializers.CharField(help_text="Address of the figures as CSV.")


class PackOptionsSerializer(serializers.Serializer):
    without_photos = serializers.BooleanField(required=False, default=False)


class OfRound(APIView):
    """An audit round as far as the auditor's scheme goes; anything else is not found."""

    read_roles = AUDITORS
    write_roles = NOBODY

    def round(self, request: Request, pk: int) -> AuditRound:
        rounds = AuditRound.objects.visible_to(request.user).select_related("seal", "scheme")
        return get_object_or_404(rounds, pk=pk)

    def pictures(self, request: Request, pk: int) -> list[Picture]:
        return pictures_for(request.user, self.round(request, pk))


class RoundPicturesView(OfRound):
    """Pictures of a round: crews compared, over time, depths, a map, what was measured again."""

    @extend_schema(responses=PictureSerializer(many=True))
    def get(self, request: Request, pk: int) -> Response:
        found = [
            {
                "key": picture.key,
                "title": picture.title,
                "note": picture.note,
                "svg": picture.svg,
                "csv": reverse("api_round_picture_csv", args=[pk, picture.key]),
            }
            for picture in self.pictures(request, pk)
        ]
        return Response(PictureSerializer(found, many=True).data)


class RoundPictureCsvView(OfRound):
    """The figures behind one picture of a round."""

    renderer_classes = (JSONRenderer, CsvRenderer)

    @extend_schema(responses={(200, "text/csv"): OpenApiTypes.STR})
    def get(self, request: Request, pk: int, picture: str) -> HttpResponse:
        for found in self.pictures(request, pk):
            if found.key == picture:
                return HttpResponse(found.data.to_csv(), content_type="text/csv; charset=utf-8")
        raise Http404


class RoundReportView(OfRound):
    """The report of a drawn round as a tagged PDF (PDF/A-2a, PDF/UA-1)."""

    renderer_classes = (JSONRenderer, PdfRenderer)

    @extend_schema(responses={(200, "application/pdf"): OpenApiTypes.BINARY})
    def get(self, request: Request, pk: int) -> HttpResponse:
        record = self.round(request, pk)
        content = report_pdf(record, request.user, made_at=timezone.now())
        return HttpResponse(content, content_type="application/pdf")


class RoundPackView(OfRound):
    """The pack of a drawn round as a zip (BagIt, RFC 8493); check it with `compliance.verify`."""

    renderer_classes = (JSONRenderer, ZipRenderer)

    @extend_schema(
        parameters=[PackOptionsSerializer],
        responses={(200, "application/zip"): OpenApiTypes.BINARY},
    )
    def get(self, request: Request, pk: int) -> HttpResponseBase:
        options = PackOptionsSerializer(data=request.query_params)
        options.is_valid(raise_exception=True)
        scope = round_scope(self.round(request, pk), request.user, **_plain(options))
        return pack_answer(request._request, scope, request.user)


def _plain(options: serializers.Serializer) -> dict[str, Any]:
    return dict(options.validated_data)


urlpatterns = [
    path("audit-rounds/<int:pk>/pictures/", RoundPicturesView.as_view(), name="api_round_pictures"),
    path(
        "audit-rounds/<int:pk>/pictures/<slug:picture>.csv",
        RoundPictureCsvView.as_view(),
        name="api_round_picture_csv",
    ),
    path("audit-rounds/<int:pk>/report.pdf", RoundReportView.as_view(), name="api_round_report"),
    path("audit-rounds/<int:pk>/pack.zip", RoundPackView.as_view(), name="api_round_pack"),
]
