"""Evidence from site over the API: checks, photos, readings, handovers. Written once, never edited.

Every create takes a `client_key` (UUID) that the phone makes: sent again, the record that is
stored comes back with 200 instead of 201. What was answered is stored for good.
"""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Callable, Sequence
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse
from rest_framework.routers import SimpleRouter

from jobs.api.idempotency import IdempotentCreateMixin
from jobs.contact import PERSON_HIDDEN
from jobs.evidence.checks import record_pre_start_check
from jobs.evidence.handover import take_handover
from jobs.evidence.openings import opened
from jobs.evidence.photos import store_photo
from jobs.evidence.readings import MOST_ROWS, ReadingRow, record_readings
from jobs.models import DepthReading, Handover, Photo, PhotoInspection, PreStartCheck, Role, Visit

READS = frozenset(
    {Role.PLANNER, Role.SURVEYOR, Role.INSTALLER, Role.COMPLIANCE_OFFICER, Role.AUDITOR}
)
WRITES = frozenset({Role.INSTALLER})
CLOCK = ("phone_sent_at", "phone_ahead", "corrected_at")


class OwnVisitField(serializers.PrimaryKeyRelatedField):
    """A visit that the person's crew is booked on."""

    def get_queryset(self) -> QuerySet[Visit]:
        request = self.context.get("request")
        if request is None or not request.user.is_authenticated:
            return Visit.objects.none()
        return Visit.objects.visible_to(request.user)


class FromPhone(serializers.Serializer):
    """What every record from a phone carries.

    phone_at: the phone's clock when the record was made, kept where `time_field` was not sent.
    phone_sent_at: its clock when it was sent, from which we work out how far it is off.
    """

    time_field = ""

    visit = OwnVisitField(queryset=Visit.objects.none())
    client_key = serializers.UUIDField(required=False)
    phone_at = serializers.DateTimeField(required=False)
    phone_sent_at = serializers.DateTimeField(required=False)

    def validate(self, given: dict[str, Any]) -> dict[str, Any]:
        phone_at = given.pop("phone_at", None)
        if self.time_field and not given.get(self.time_field):
            given[self.time_field] = phone_at or timezone.now()
        return given


class PreStartCheckIn(FromPhone):
    time_field = "checked_at"

    answers = serializers.DictField(help_text="Question code to yes, no or n-a.")
    checked_at = serializers.DateTimeField(required=False)
    note = serializers.CharField(default="", allow_blank=True, max_length=2000)


class ByPhoneClockOut(serializers.ModelSerializer):
    """A record with the time by our clock beside the phone's own."""

    corrected_at = serializers.DateTimeField(read_only=True)


class PreStartCheckOut(ByPhoneClockOut):
    class Meta:
        model = PreStartCheck
        fields = [
            "id", "visit", "answers", "safe_to_start", "note", "checked_by", "checked_at",
            "received_at", "client_key", "replaces", *CLOCK,
        ]  # fmt: skip


class PhotoIn(FromPhone):
    moment = serializers.CharField()
    point_label = serializers.CharField(default="", allow_blank=True)
    file = serializers.FileField(allow_empty_file=True)
    phone_taken_at = serializers.DateTimeField(required=False, allow_null=True)
    note = serializers.CharField(default="", allow_blank=True)


class InspectionOut(serializers.ModelSerializer):
    warnings = serializers.SerializerMethodField()

    class Meta:
        model = PhotoInspection
        fields = [
            "inspector_version", "readable", "width_px", "height_px", "exif_taken_at",
            "exif_time_source", "exif_latitude_deg", "exif_longitude_deg", "device", "warnings",
            "inspected_at",
        ]  # fmt: skip

    def get_warnings(self, inspection: PhotoInspection) -> list[dict[str, str]]:
        """Code and reason; which other photo is meant stays inside."""
        return [{"code": w["code"], "text": w["text"]} for w in inspection.warnings]


class PhotoOut(ByPhoneClockOut):
    inspection = serializers.SerializerMethodField()
    urls = serializers.SerializerMethodField()

    class Meta:
        model = Photo
        fields = [
            "id", "job", "visit", "moment", "point_label", "note", "sha256", "size_bytes",
            "media_type", "phone_taken_at", "sent_by", "received_at", "client_key", "replaces",
            "urls", "inspection", *CLOCK,
        ]  # fmt: skip

    def get_inspection(self, photo: Photo) -> dict[str, Any] | None:
        rows = list(photo.inspections.all())
        return InspectionOut(rows[-1]).data if rows else None

    def get_urls(self, photo: Photo) -> dict[str, str]:
        return {
            size: reverse("photo", args=[photo.pk, size], request=self.context.get("request"))
            for size in ("original", "display", "thumb")
        }


class ReadingIn(serializers.Serializer):
    area = serializers.CharField(default="", allow_blank=True)
    x_mm = serializers.FloatField()
    y_mm = serializers.FloatField()
    depth_mm = serializers.FloatField()
    allowance = serializers.CharField(default="", allow_blank=True)
    measured_at = serializers.DateTimeField(required=False)
    replaces = serializers.IntegerField(required=False, allow_null=True, default=None)
    correction_reason = serializers.CharField(default="", allow_blank=True)
    client_key = serializers.UUIDField(required=False)


class ReadingsIn(FromPhone):
    """`client_key`, `phone_at` and `phone_sent_at` go for every row that has none of its own."""

    readings = ReadingIn(many=True, max_length=MOST_ROWS)

    def validate(self, given: dict[str, Any]) -> dict[str, Any]:
        """A key for a single row; a time for each; whoever sends several gives each its key."""
        said = given.get("phone_at") or timezone.now()
        rows = given["readings"]
        for row in rows:
            row.setdefault("measured_at", said)
            row["phone_sent_at"] = given.get("phone_sent_at")
        if len(rows) == 1 and "client_key" in given:
            rows[0].setdefault("client_key", given["client_key"])
        return super().validate(given)


class DepthReadingOut(ByPhoneClockOut):
    area_name = serializers.CharField(source="area.name", read_only=True)

    class Meta:
        model = DepthReading
        fields = [
            "id", "visit", "area", "area_name", "x_mm", "y_mm", "depth_mm", "allowance",
            "measured_by", "measured_at", "received_at", "client_key", "correction_reason",
            "replaces", *CLOCK,
        ]  # fmt: skip


class ReadingsOut(serializers.Serializer):
    readings = DepthReadingOut(many=True)


class HandoverIn(FromPhone):
    time_field = "signed_at"

    signed_name = serializers.CharField(allow_blank=True)
    signature_svg = serializers.CharField(default="", allow_blank=True)
    name_confirmed = serializers.BooleanField(default=False)
    cautions_given = serializers.ListField(child=serializers.CharField(), max_length=40)
    all_done = serializers.BooleanField(default=True)
    not_done_reason = serializers.CharField(default="", allow_blank=True)
    signed_at = serializers.DateTimeField(required=False)


class HandoverOut(ByPhoneClockOut):
    class Meta:
        model = Handover
        fields = [
            "id", "visit", "signed_name", "signature_svg", "cautions_given", "all_done",
            "not_done_reason", "taken_by", "signed_at", "received_at", "client_key", "replaces",
            *CLOCK,
        ]  # fmt: skip

    def to_representation(self, handover: Handover) -> dict[str, Any]:
        """Name and strokes are the householder's own: surveyor and auditor get null for both."""
        told = super().to_representation(handover)
        if getattr(self.context["request"].user, "role", "") in PERSON_HIDDEN:
            told |= {"signed_name": None, "signature_svg": None}
        return told


class EvidenceViewSet(
    IdempotentCreateMixin,
    mixins.ListModelMixin,
    mixins.RetrieveModelMixin,
    viewsets.GenericViewSet[Any],
):
    """Reads are scoped by `visible_to`; an installer writes on its own crew's visits."""

    read_roles = READS
    write_roles = WRITES
    intake_class: type[serializers.Serializer]
    filterset_fields = ["visit", "visit__job"]

    def get_queryset(self) -> Any:
        return self.queryset.visible_to(self.request.user).select_related("visit")  # type: ignore[union-attr]

    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """A page of records; that they were opened is kept, job by job."""
        rows = self.paginate_queryset(self.filter_queryset(self.get_queryset()))
        self._note_opening(rows or [], many=True)
        return self.get_paginated_response(self.get_serializer(rows, many=True).data)

    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        record = self.get_object()
        self._note_opening([record])
        return Response(self.get_serializer(record).data)

    def _note_opening(self, records: Sequence[Any], *, many: bool = False) -> None:
        name = records[0]._meta.verbose_name if records else ""
        jobs = [getattr(record, "job_id", None) or record.visit.job_id for record in records]
        words = f"{name}s over the API" if many else f"{name} {records[0].pk} over the API"
        opened(jobs, self.request.user, words)  # type: ignore[arg-type]

    def _create(self, request: Request) -> Response:
        sent = self.intake_class(data=request.data, context=self.get_serializer_context())
        sent.is_valid(raise_exception=True)
        began = timezone.now()
        record = self.keep(dict(sent.validated_data))
        created = record.received_at >= began
        return Response(self.get_serializer(record).data, status=201 if created else 200)

    @abstractmethod
    def keep(self, values: dict[str, Any]) -> Any:
        """Call the domain function with what was sent."""


def create_schema(intake: Any, answer: Any) -> Callable[[Any], Any]:
    """Describe `create`: what is sent differs from what comes back."""
    return extend_schema(request=intake, responses={201: answer, 200: answer})


class PreStartCheckViewSet(EvidenceViewSet):
    queryset = PreStartCheck.objects.all()
    serializer_class = PreStartCheckOut
    intake_class = PreStartCheckIn

    @create_schema(PreStartCheckIn, PreStartCheckOut)
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return super().create(request, *args, **kwargs)

    def keep(self, values: dict[str, Any]) -> PreStartCheck:
        return record_pre_start_check(by=self.request.user, **values)  # type: ignore[arg-type]


class PhotoViewSet(EvidenceViewSet):
    queryset = Photo.objects.prefetch_related("inspections")
    serializer_class = PhotoOut
    intake_class = PhotoIn
    parser_classes = [MultiPartParser]
    filterset_fields = ["visit", "job", "moment", "point_label", "sha256"]

    @create_schema({"multipart/form-data": PhotoIn}, PhotoOut)
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return super().create(request, *args, **kwargs)

    def keep(self, values: dict[str, Any]) -> Photo:
        photo, _ = store_photo(stream=values.pop("file"), by=self.request.user, **values)  # type: ignore[arg-type]
        return photo


class DepthReadingViewSet(EvidenceViewSet):
    """Readings of one visit, many at once; all are kept, or none."""

    queryset = DepthReading.objects.select_related("area")
    serializer_class = DepthReadingOut
    intake_class = ReadingsIn

    @create_schema(ReadingsIn, ReadingsOut)
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return super().create(request, *args, **kwargs)

    def _create(self, request: Request) -> Response:
        sent = ReadingsIn(data=request.data, context=self.get_serializer_context())
        sent.is_valid(raise_exception=True)
        began = timezone.now()
        rows = [ReadingRow(**row) for row in sent.validated_data["readings"]]
        kept = record_readings(sent.validated_data["visit"], rows, request.user)  # type: ignore[arg-type]
        created = any(reading.received_at >= began for reading in kept)
        body = {"readings": self.get_serializer(kept, many=True).data}
        return Response(body, status=201 if created else 200)


class HandoverViewSet(EvidenceViewSet):
    queryset = Handover.objects.all()
    serializer_class = HandoverOut
    intake_class = HandoverIn

    @create_schema(HandoverIn, HandoverOut)
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return super().create(request, *args, **kwargs)

    def keep(self, values: dict[str, Any]) -> Handover:
        return take_handover(by=self.request.user, **values)  # type: ignore[arg-type]


router = SimpleRouter()
router.register("pre-start-checks", PreStartCheckViewSet, basename="api_pre_start_check")
router.register("photos", PhotoViewSet, basename="api_photo")
router.register("depth-readings", DepthReadingViewSet, basename="api_depth_reading")
router.register("handovers", HandoverViewSet, basename="api_handover")
urlpatterns = router.urls
