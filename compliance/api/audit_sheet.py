"""A drawn job's contact sheet over the API: in which order, why, and what an auditor has seen."""

from __future__ import annotations

from typing import Any

from django.urls import path
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from compliance.api.audits import AUDITORS
from compliance.api.roles import NOBODY
from compliance.audits.access import SHEET_ASKED
from compliance.audits.reading import keep_seen, seen_by
from compliance.audits.wordings import wordings_about
from compliance.evidence_access import note_access
from compliance.models import Finding
from compliance.pages.audit_reading_findings import drawn_at
from compliance.pages.audit_reading_parts import job_page
from compliance.pages.audit_sheet_parts import SheetPair


class CheckOut(serializers.Serializer):
    words = serializers.CharField()
    said = serializers.CharField()
    is_fine = serializers.BooleanField()
    told_at_pairs = serializers.BooleanField()


class ReasonOut(serializers.Serializer):
    """like: the id of the photo that it looks the same as."""

    short = serializers.CharField()
    text = serializers.CharField()
    weight = serializers.IntegerField()
    like = serializers.IntegerField(allow_null=True)


class WordingOut(serializers.Serializer):
    """Words that a finding can be made of; `{place}` stands for the thing it is about. severity:
    the class suggested."""

    severity = serializers.ChoiceField(Finding.Severity.choices)
    text = serializers.CharField()


class SheetPairOut(serializers.Serializer):
    """before, after, further: ids of photos. depth_mm: the reading nearest to the point, and how
    far from it that was taken [mm]; null where none is within 3 m."""

    point = serializers.CharField(source="point.label", allow_blank=True)
    why = serializers.CharField(source="point.why", allow_blank=True)
    before = serializers.SerializerMethodField()
    after = serializers.SerializerMethodField()
    further = serializers.SerializerMethodField()
    depth_mm = serializers.FloatField(source="depth.depth_mm", default=None)
    away_mm = serializers.FloatField(source="depth.away_mm", default=None)
    reasons = ReasonOut(many=True)
    ready_words = serializers.SerializerMethodField()
    seen = serializers.SerializerMethodField()

    def get_before(self, pair: SheetPair) -> int | None:
        return pair.point.before.shown.photo.pk if pair.point.before.shown else None

    def get_after(self, pair: SheetPair) -> int | None:
        return pair.point.after.shown.photo.pk if pair.point.after.shown else None

    def get_further(self, pair: SheetPair) -> list[int]:
        return [shown.photo.pk for shown in pair.point.further]

    @extend_schema_field(WordingOut(many=True))
    def get_ready_words(self, pair: SheetPair) -> Any:
        words = wordings_about(f"pair:{pair.point.label}", pair.shows[1])
        return WordingOut(words, many=True).data

    def get_seen(self, pair: SheetPair) -> bool:
        return pair.point.label in self.context["seen"]


class SheetOut(serializers.Serializer):
    """checks: of the machine. pairs: the photo points, most spoken against first."""

    checks = CheckOut(source="machine", many=True)
    pairs = SheetPairOut(source="sheet", many=True)


class SeenSerializer(serializers.Serializer):
    """points: labels of photo points; an empty one is photos at no point."""

    points = serializers.ListField(
        child=serializers.CharField(max_length=20, allow_blank=True), max_length=1000
    )


class SheetView(APIView):
    """What the machine has checked, and the pairs with what speaks against each. It is logged."""

    read_roles = AUDITORS
    write_roles = NOBODY

    @extend_schema(responses=SheetOut)
    def get(self, request: Request, pk: int) -> Response:
        drawn, auditor = drawn_at(request, pk), request.user  # type: ignore[arg-type]
        note_access(drawn.job, auditor, SHEET_ASKED)  # type: ignore[arg-type]
        context: dict[str, Any] = {"seen": seen_by(drawn, auditor)}  # type: ignore[arg-type]
        return Response(SheetOut(job_page(drawn, auditor), context=context).data)  # type: ignore[arg-type]


class SeenView(APIView):
    """The photo points that the auditor has marked as seen: each auditor's own."""

    read_roles = AUDITORS
    write_roles = AUDITORS

    @extend_schema(responses=SeenSerializer)
    def get(self, request: Request, pk: int) -> Response:
        seen = seen_by(drawn_at(request, pk), request.user)  # type: ignore[arg-type]
        return Response({"points": sorted(seen)})

    @extend_schema(request=SeenSerializer, responses=SeenSerializer)
    def put(self, request: Request, pk: int) -> Response:
        """In the stead of what was marked before."""
        drawn, sent = drawn_at(request, pk), SeenSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        seen = keep_seen(drawn, request.user, sent.validated_data["points"])  # type: ignore[arg-type]
        return Response({"points": sorted(seen)})


urlpatterns = [
    path("drawn-jobs/<int:pk>/sheet/", SheetView.as_view(), name="api_drawn_job_sheet"),
    path("drawn-jobs/<int:pk>/seen/", SeenView.as_view(), name="api_drawn_job_seen"),
]
