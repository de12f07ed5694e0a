"""The visit as it goes, over the API: arriving, steps of the work, variations, stopping, leaving.

Like all evidence: written once, known again by its `client_key`, stored when it is answered.
"""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from jobs.api.evidence import CLOCK, ByPhoneClockOut, EvidenceViewSet, FromPhone, create_schema
from jobs.contact import PERSON_HIDDEN
from jobs.evidence.arrival import WhoCame, record_arrival
from jobs.evidence.leaving import HowLeft, record_leave
from jobs.evidence.phone_told import Position, Told
from jobs.evidence.stopping import stop_work
from jobs.evidence.variations import Differs, record_variation
from jobs.evidence.work_steps import StepDone, record_work_step
from jobs.models import Arrival, Leave, StopWork, Variation, WorkStep

COMMON = ["id", "visit", "recorded_by", "received_at", "client_key", *CLOCK]
PERSONAL = ("let_in_by", "latitude_deg", "longitude_deg", "position_accuracy_m")


class SiteRecordIn(FromPhone):
    """A record whose time is `phone_at`."""

    time_field = "at"

    @staticmethod
    def told(values: dict[str, Any]) -> Told:
        """What came beside the record itself, taken out of `values`."""
        beside = {
            "phone_at": values.pop("at", None) or timezone.now(),
            "phone_sent_at": values.pop("phone_sent_at", None),
        }
        if "client_key" in values:
            beside["client_key"] = values.pop("client_key")
        return Told(**beside)


class PlacedRecordIn(SiteRecordIn):
    """A record that may say where the phone is, with consent."""

    position_agreed = serializers.BooleanField(default=False)
    latitude_deg = serializers.FloatField(required=False, allow_null=True)
    longitude_deg = serializers.FloatField(required=False, allow_null=True)
    position_accuracy_m = serializers.FloatField(required=False, allow_null=True, min_value=0)

    @staticmethod
    def position(values: dict[str, Any]) -> Position:
        return Position(
            values.pop("position_agreed"),
            values.pop("latitude_deg", None),
            values.pop("longitude_deg", None),
            values.pop("position_accuracy_m", None),
        )


class ArrivalIn(PlacedRecordIn):
    operative_ids = serializers.ListField(child=serializers.IntegerField(), max_length=40)
    let_in_by = serializers.CharField(allow_blank=True)
    loft_ready = serializers.BooleanField()
    note = serializers.CharField(default="", allow_blank=True)


class LeaveIn(PlacedRecordIn):
    loft_closed = serializers.BooleanField()
    site_clear = serializers.BooleanField()
    note = serializers.CharField(default="", allow_blank=True)


class WorkStepIn(SiteRecordIn):
    step = serializers.CharField()
    outcome = serializers.CharField()
    answers = serializers.DictField(default=dict, help_text="Point code to yes, no or n-a.")
    note = serializers.CharField(default="", allow_blank=True)


class OptionalKey(serializers.UUIDField):
    """An empty choice of a form is none at all."""

    def run_validation(self, data: Any = serializers.empty) -> Any:
        return super().run_validation(None if data == "" else data)


class VariationIn(SiteRecordIn):
    kind = serializers.CharField()
    meaning = serializers.CharField()
    reason = serializers.CharField(allow_blank=True)
    area = serializers.CharField(default="", allow_blank=True, help_text="The area's name.")
    depth_mm = serializers.FloatField(required=False, allow_null=True)
    photo_key = OptionalKey(required=False, allow_null=True)
    replaces = serializers.IntegerField(required=False, allow_null=True)


class StopWorkIn(SiteRecordIn):
    stop_reason = serializers.CharField(allow_blank=True)
    found = serializers.ListField(child=serializers.CharField(), default=list, max_length=40)


class HidesThePerson(ByPhoneClockOut):
    """Who let the crew in, and where its phone was: surveyor and auditor get null."""

    def to_representation(self, record: Any) -> dict[str, Any]:
        told = super().to_representation(record)
        if getattr(self.context["request"].user, "role", "") in PERSON_HIDDEN:
            told |= {name: None for name in PERSONAL if name in told}
        return told


class ArrivalOut(HidesThePerson):
    class Meta:
        model = Arrival
        fields = [
            *COMMON, "operative_ids", "let_in_by", "loft_ready", "note", "arrived_at", "replaces",
            "position_agreed", "latitude_deg", "longitude_deg", "position_accuracy_m",
        ]  # fmt: skip


class LeaveOut(HidesThePerson):
    class Meta:
        model = Leave
        fields = [
            *COMMON, "because", "loft_closed", "site_clear", "note", "left_at", "replaces",
            "position_agreed", "latitude_deg", "longitude_deg", "position_accuracy_m",
        ]  # fmt: skip


class WorkStepOut(ByPhoneClockOut):
    class Meta:
        model = WorkStep
        fields = [*COMMON, "step", "outcome", "answers", "note", "done_at", "replaces"]


class VariationOut(ByPhoneClockOut):
    class Meta:
        model = Variation
        fields = [
            *COMMON, "kind", "meaning", "reason", "area", "depth_mm", "photo_key", "found_at",
            "replaces",
        ]  # fmt: skip


class StopWorkOut(ByPhoneClockOut):
    class Meta:
        model = StopWork
        fields = [*COMMON, "found", "reason", "to_call", "stopped_at"]


class ArrivalViewSet(EvidenceViewSet):
    """Who came, who let them in, whether the loft was empty and safe."""

    queryset = Arrival.objects.all()
    serializer_class = ArrivalOut
    intake_class = ArrivalIn

    @create_schema(ArrivalIn, ArrivalOut)
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return super().create(request, *args, **kwargs)

    def keep(self, values: dict[str, Any]) -> Arrival:
        told, position = ArrivalIn.told(values), ArrivalIn.position(values)
        visit = values.pop("visit")
        return record_arrival(visit, WhoCame(**values), self.request.user, told, position)  # type: ignore[arg-type]


class WorkStepViewSet(EvidenceViewSet):
    """Eaves, first layer, cross layers, hatch and tank: how each went."""

    queryset = WorkStep.objects.all()
    serializer_class = WorkStepOut
    intake_class = WorkStepIn
    filterset_fields = ["visit", "visit__job", "step", "outcome"]

    @create_schema(WorkStepIn, WorkStepOut)
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return super().create(request, *args, **kwargs)

    def keep(self, values: dict[str, Any]) -> WorkStep:
        told = WorkStepIn.told(values)
        return record_work_step(values.pop("visit"), StepDone(**values), self.request.user, told)  # type: ignore[arg-type]


class VariationViewSet(EvidenceViewSet):
    """Where the work differs from its plan, why, and what that means."""

    queryset = Variation.objects.all()
    serializer_class = VariationOut
    intake_class = VariationIn
    filterset_fields = ["visit", "visit__job", "kind", "meaning"]

    @create_schema(VariationIn, VariationOut)
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return super().create(request, *args, **kwargs)

    def keep(self, values: dict[str, Any]) -> Variation:
        told = VariationIn.told(values)
        return record_variation(values.pop("visit"), Differs(**values), self.request.user, told)  # type: ignore[arg-type]


class StopWorkViewSet(EvidenceViewSet):
    """Stopped work: what was found, and whom the crew was told to call."""

    queryset = StopWork.objects.all()
    serializer_class = StopWorkOut
    intake_class = StopWorkIn

    @create_schema(StopWorkIn, StopWorkOut)
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return super().create(request, *args, **kwargs)

    def keep(self, values: dict[str, Any]) -> StopWork:
        values["reason"] = values.pop("stop_reason")
        values["stopped_at"] = values.pop("at")
        return stop_work(by=self.request.user, **values)  # type: ignore[arg-type]


class LeaveViewSet(EvidenceViewSet):
    """Leaving the home: the loft closed, nothing left behind."""

    queryset = Leave.objects.all()
    serializer_class = LeaveOut
    intake_class = LeaveIn

    @create_schema(LeaveIn, LeaveOut)
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return super().create(request, *args, **kwargs)

    def keep(self, values: dict[str, Any]) -> Leave:
        told, position = LeaveIn.told(values), LeaveIn.position(values)
        return record_leave(
            values.pop("visit"),
            HowLeft(**values),
            self.request.user,  # type: ignore[arg-type]
            told,
            position,
        )


router = SimpleRouter()
router.register("arrivals", ArrivalViewSet, basename="api_arrival")
router.register("work-steps", WorkStepViewSet, basename="api_work_step")
router.register("variations", VariationViewSet, basename="api_variation")
router.register("stop-works", StopWorkViewSet, basename="api_stop_work")
router.register("leaves", LeaveViewSet, basename="api_leave")
urlpatterns = router.urls
