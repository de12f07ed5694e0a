"""Personal data of a job's household over the API: what is held, erasing, holding, taking away."""

from __future__ import annotations

from typing import Any

from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404
from django.urls import path
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from compliance.api.packs import ZipRenderer
from compliance.api.roles import NOBODY, OFFICER, PACK_TAKERS
from compliance.models import Erasure, ErasureRequest, LegalHold
from compliance.packs.sending import zip_answer
from compliance.personal.erasing import answer_request, ask_erasure
from compliance.personal.export import export_name, household_zip
from compliance.personal.holds import lift_hold, place_hold
from compliance.personal.kinds import CHOICES
from compliance.personal.plain import plain_in_ledger, plain_in_verdicts
from compliance.personal.retention import periods_of, set_period
from jobs.errors import Refused
from jobs.evidence.openings import opened
from jobs.models import Job


class AskSerializer(serializers.Serializer):
    kinds = serializers.MultipleChoiceField(choices=CHOICES)
    reason = serializers.CharField(max_length=300)


class DecisionSerializer(serializers.Serializer):
    agreed = serializers.BooleanField()
    answer = serializers.CharField(max_length=300, default="", allow_blank=True)


class LegalHoldSerializer(serializers.Serializer):
    """`held` true places a legal hold, false lifts it."""

    held = serializers.BooleanField()
    reason = serializers.CharField(max_length=300)


class ErasureSerializer(serializers.ModelSerializer):
    """`items`: table, id and columns of what was erased; of a photo its bytes."""

    class Meta:
        model = Erasure
        fields = ["id", "kinds", "because", "reason", "items", "erased_at"]


class WaitingSerializer(serializers.ModelSerializer):
    class Meta:
        model = ErasureRequest
        fields = ["id", "kinds", "because", "reason", "stands_against", "asked_at"]


class PlainSerializer(serializers.Serializer):
    """Records of one kind that hold words as they were written, where no erasure reaches them."""

    title = serializers.CharField()
    records = serializers.IntegerField()


class PersonalDataSerializer(serializers.Serializer):
    """`plain_in_ledger`: what entered before words were hashed, and stays. `plain_in_verdicts`:
    verdicts of before that repeat such words, and certificates that say what was left undone."""

    erasures = ErasureSerializer(many=True)
    waiting = WaitingSerializer(allow_null=True)
    on_hold = serializers.BooleanField()
    plain_in_ledger = PlainSerializer(many=True)
    plain_in_verdicts = PlainSerializer(many=True)


class PeriodSerializer(serializers.Serializer):
    """How many months a kind is kept after a job was closed, and its limits with their sources."""

    kind = serializers.CharField(source="kind.code")
    months = serializers.IntegerField()
    least_months = serializers.IntegerField(source="kind.least_months", read_only=True)
    most_months = serializers.IntegerField(source="kind.most_months", read_only=True)
    least_why = serializers.CharField(source="kind.least_why", read_only=True)
    most_why = serializers.CharField(source="kind.most_why", read_only=True)


class OfJobView(APIView):
    """An endpoint below a job that the person may see."""

    read_roles = PACK_TAKERS
    write_roles = OFFICER

    def job(self, pk: int) -> Job:
        return get_object_or_404(Job.objects.visible_to(self.request.user).with_place(), pk=pk)

    def asked(self, serializer: type[serializers.Serializer]) -> dict[str, Any]:
        sent = serializer(data=self.request.data)
        sent.is_valid(raise_exception=True)
        return dict(sent.validated_data)

    def told(self, job: Job, status: int = 200) -> Response:
        held = {
            "erasures": Erasure.objects.filter(job=job),
            "waiting": ErasureRequest.objects.filter(job=job).waiting().first(),
            "on_hold": LegalHold.objects.open().filter(job=job).exists(),
            "plain_in_ledger": plain_in_ledger(job),
            "plain_in_verdicts": plain_in_verdicts(job),
        }
        return Response(PersonalDataSerializer(held).data, status=status)


class PersonalDataView(OfJobView):
    """What was erased of a job's household, what waits, and whether it is held."""

    @extend_schema(responses=PersonalDataSerializer)
    def get(self, request: Request, pk: int) -> Response:
        return self.told(self.job(pk))

    @extend_schema(request=AskSerializer, responses=PersonalDataSerializer)
    def post(self, request: Request, pk: int) -> Response:
        """Erase (201), or ask for a second person where something stands against it (202)."""
        job, asked = self.job(pk), self.asked(AskSerializer)
        done = ask_erasure(job, sorted(asked["kinds"]), asked["reason"], request.user)
        return self.told(job, 201 if isinstance(done, Erasure) else 202)


class ErasureAnswerView(OfJobView):
    """The second person's answer to the erasure that waits."""

    read_roles = NOBODY

    @extend_schema(request=DecisionSerializer, responses=PersonalDataSerializer)
    def post(self, request: Request, pk: int) -> Response:
        job, asked = self.job(pk), self.asked(DecisionSerializer)
        waiting = ErasureRequest.objects.filter(job=job).waiting().first()
        if waiting is None:
            raise Refused("No erasure of this job waits for an answer.")
        answer_request(waiting, asked["agreed"], request.user, asked["answer"])
        return self.told(job)


class LegalHoldView(OfJobView):
    """A legal hold on a job, placed or lifted."""

    read_roles = NOBODY

    @extend_schema(request=LegalHoldSerializer, responses=PersonalDataSerializer)
    def post(self, request: Request, pk: int) -> Response:
        job, asked = self.job(pk), self.asked(LegalHoldSerializer)
        if asked["held"]:
            place_hold(job, asked["reason"], request.user)
        else:
            placed = LegalHold.objects.open().filter(job=job).select_related("job").first()
            if placed is None:
                raise Refused("This job is not on hold.")
            lift_hold(placed, asked["reason"], request.user)
        return self.told(job)


class HouseholdView(OfJobView):
    """Everything held on the household of a job, as a zip."""

    read_roles = OFFICER
    write_roles = NOBODY
    renderer_classes = (JSONRenderer, ZipRenderer)

    @extend_schema(responses={(200, "application/zip"): OpenApiTypes.BINARY})
    def get(self, request: Request, pk: int) -> HttpResponseBase:
        job = self.job(pk)
        opened([job.pk], request.user, "export of what is held on the household")
        name = export_name(job.property, timezone.now())
        return zip_answer(request._request, household_zip(job.property), name)


class RetentionView(APIView):
    """How long the company keeps each kind of personal data."""

    read_roles = OFFICER
    write_roles = OFFICER

    @extend_schema(responses=PeriodSerializer(many=True))
    def get(self, request: Request) -> Response:
        return Response(PeriodSerializer(periods_of(request.user.company), many=True).data)

    @extend_schema(request=PeriodSerializer, responses=PeriodSerializer(many=True))
    def post(self, request: Request) -> Response:
        """Choose how long one kind is kept, within its limits."""
        sent = PeriodSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        given = sent.validated_data
        set_period(request.user.company, given["kind"]["code"], given["months"], request.user)
        return self.get(request)


JOB = "jobs/<int:pk>/personal-data/"
urlpatterns = [
    path(JOB, PersonalDataView.as_view(), name="api_personal_data"),
    path(f"{JOB}answer/", ErasureAnswerView.as_view(), name="api_erasure_answer"),
    path(f"{JOB}hold/", LegalHoldView.as_view(), name="api_legal_hold"),
    path(f"{JOB}household.zip", HouseholdView.as_view(), name="api_household"),
    path("retention-periods/", RetentionView.as_view(), name="api_retention"),
]
