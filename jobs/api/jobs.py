"""Jobs over the API: listed, opened for a known home, given another date, called off."""

from __future__ import annotations

from typing import Any

import django_filters
from django.db import transaction
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from jobs.api.concurrency import VersionedUpdateMixin, etag_of, require_match
from jobs.api.fields import IdFilter, VisibleRelatedField
from jobs.api.idempotency import IdempotentCreateMixin
from jobs.api.roles import JOB_READERS, PLANNER
from jobs.intake.properties import open_job
from jobs.models import Job, Nation, Property, Scheme, Stage, Visit
from jobs.planning.booking import call_off_job
from jobs.stages import lock_job


class JobSerializer(serializers.ModelSerializer):
    property = VisibleRelatedField(queryset=Property.objects.all())
    scheme = VisibleRelatedField(queryset=Scheme.objects.all())
    reference = serializers.CharField(read_only=True)
    address = serializers.CharField(source="property.address", read_only=True)
    nation = serializers.ChoiceField(
        source="property.nation", choices=Nation.choices, read_only=True
    )

    class Meta:
        model = Job
        fields = [
            "id",
            "reference",
            "property",
            "address",
            "nation",
            "scheme",
            "stage",
            "stage_since",
            "due_on",
            "called_off_reason",
            "version",
            "created_at",
        ]
        read_only_fields = ["stage", "stage_since", "called_off_reason", "version"]
        validators: list[Any] = []

    def validate(self, data: dict[str, Any]) -> dict[str, Any]:
        fixed = {"property", "scheme"} & data.keys()
        if self.instance is not None and fixed:
            raise serializers.ValidationError(
                dict.fromkeys(fixed, "A job stays with its home and scheme. Open another one.")
            )
        return data

    def create(self, data: dict[str, Any]) -> Job:
        return open_job(
            data["property"],
            data["scheme"],
            by=self.context["request"].user,
            due_on=data.get("due_on"),
        )

    def update(self, job: Job, data: dict[str, Any]) -> Job:
        job.due_on = data.get("due_on", job.due_on)
        job.version += 1
        job.save(update_fields=["due_on", "version"])
        return job


class ReasonSerializer(serializers.Serializer[Any]):
    reason = serializers.CharField(max_length=200)


class JobFilter(django_filters.FilterSet):
    scheme = IdFilter()
    property = IdFilter()
    stage = django_filters.MultipleChoiceFilter(choices=Stage.choices)
    nation = django_filters.ChoiceFilter(field_name="property__nation", choices=Nation.choices)
    crew = IdFilter(method="booked_on", label="id of a crew that is booked")
    late = django_filters.BooleanFilter(method="past_due", label="past the due date")
    search = django_filters.CharFilter(
        method="with_words", label="job, reference, address or postcode"
    )

    class Meta:
        model = Job
        fields = ["stage", "scheme", "property", "nation", "crew", "late", "search"]

    def booked_on(self, jobs: Any, name: str, value: Any) -> Any:
        return jobs.filter(pk__in=Visit.objects.live().filter(crew=value).values("job_id"))

    def past_due(self, jobs: Any, name: str, value: bool) -> Any:
        late = jobs.late(timezone.localdate())
        return late if value else jobs.exclude(pk__in=late.values("pk"))

    def with_words(self, jobs: Any, name: str, value: str) -> Any:
        return jobs.search(value)


class JobViewSet(
    IdempotentCreateMixin,
    VersionedUpdateMixin,
    mixins.ListModelMixin,
    viewsets.GenericViewSet[Job],
):
    read_roles = JOB_READERS
    write_roles = PLANNER
    serializer_class = JobSerializer
    filterset_class = JobFilter
    queryset = Job.objects.none()

    def get_queryset(self) -> Any:
        return Job.objects.visible_to(self.request.user).with_place()

    @extend_schema(request=ReasonSerializer, responses=JobSerializer)
    @action(detail=True, methods=["post"], url_path="call-off")
    def call_off(self, request: Request, pk: str) -> Response:
        """End a job before it is certified, under If-Match; visits booked for it are cancelled."""
        seen = self.get_object()
        reason = ReasonSerializer(data=request.data)
        reason.is_valid(raise_exception=True)
        with transaction.atomic():
            job = lock_job(seen.pk)
            require_match(request, job)
            done = call_off_job(job, reason.validated_data["reason"], request.user)
        return Response(self.get_serializer(done).data, headers={"ETag": etag_of(done)})


router = SimpleRouter()
router.register("jobs", JobViewSet, basename="api_job")
urlpatterns = router.urls
