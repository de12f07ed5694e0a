"""Homes over the API. Creating one takes it in and opens its job under a scheme."""

from __future__ import annotations

from typing import Any

import django_filters
from django.db.models import Prefetch
from rest_framework import mixins, serializers, viewsets
from rest_framework.routers import SimpleRouter

from jobs.api.concurrency import VersionedUpdateMixin
from jobs.api.fields import VisibleRelatedField
from jobs.api.idempotency import IdempotentCreateMixin
from jobs.api.roles import JOB_READERS, PLANNER
from jobs.contact import may_see_contact, with_contact_seen
from jobs.intake.properties import change_property, take_in_property, values_of
from jobs.intake.values import PropertyValues, read_values
from jobs.models import Job, Nation, Property, Scheme

HOUSEHOLDER = ("householder_name", "householder_phone", "householder_email")


class PropertySerializer(serializers.ModelSerializer):
    """A home. `jobs` are the ids of its jobs that the reader may see."""

    scheme = VisibleRelatedField(queryset=Scheme.objects.all(), write_only=True)
    due_on = serializers.DateField(write_only=True, required=False, allow_null=True)
    # Judged, with the form of a postcode, by jobs.intake.values.
    postcode = serializers.CharField(max_length=12)
    jobs = serializers.SerializerMethodField()

    class Meta:
        model = Property
        fields = [
            "id",
            "reference",
            "address_line_1",
            "address_line_2",
            "town",
            "postcode",
            "nation",
            "nation_confirmed",
            "latitude_deg",
            "longitude_deg",
            *HOUSEHOLDER,
            "access_notes",
            "scheme",
            "due_on",
            "jobs",
            "created_at",
            "updated_at",
        ]
        validators: list[Any] = []

    def get_jobs(self, home: Property) -> list[int]:
        seen = getattr(home, "seen_jobs", None)
        if seen is None:
            seen = home.jobs.visible_to(self.context["request"].user)
        return [job.pk for job in seen]

    def to_representation(self, home: Property) -> dict[str, Any]:
        """Who lives in a home is told to whoever has to reach them, while they have to."""
        shown = super().to_representation(home)
        seen = getattr(home, "contact_seen", None)
        if seen is None:
            seen = may_see_contact(self.context["request"].user, home)
        if not seen:
            shown |= dict.fromkeys((*HOUSEHOLDER, "access_notes"), "")
        return shown

    def validate(self, data: dict[str, Any]) -> dict[str, Any]:
        if self.instance is not None and {"scheme", "due_on"} & data.keys():
            raise serializers.ValidationError({"scheme": "Change the job of a home, not the home."})
        raw = values_of(self.instance) if self.instance is not None else {}
        values, problems = read_values(raw | data)
        if values is None:
            raise serializers.ValidationError(
                {p.field: [f"{p.message} {p.remedy}".strip()] for p in problems}
            )
        return {"values": values, "scheme": data.get("scheme")}

    def create(self, data: dict[str, Any]) -> Property:
        user = self.context["request"].user
        values: PropertyValues = data["values"]
        return take_in_property(user.company, data["scheme"], values, user).property

    def update(self, home: Property, data: dict[str, Any]) -> Property:
        return change_property(home, data["values"], self.context["request"].user)


class PropertyFilter(django_filters.FilterSet):
    postcode = django_filters.CharFilter(lookup_expr="istartswith")
    nation = django_filters.ChoiceFilter(choices=Nation.choices)

    class Meta:
        model = Property
        fields = ["reference", "postcode", "nation", "nation_confirmed"]


class PropertyViewSet(
    IdempotentCreateMixin,
    VersionedUpdateMixin,
    mixins.ListModelMixin,
    viewsets.GenericViewSet[Property],
):
    read_roles = JOB_READERS
    write_roles = PLANNER
    serializer_class = PropertySerializer
    filterset_class = PropertyFilter
    queryset = Property.objects.none()

    def get_queryset(self) -> Any:
        user = self.request.user
        seen = Prefetch("jobs", Job.objects.visible_to(user), to_attr="seen_jobs")
        homes = Property.objects.visible_to(user).prefetch_related(seen)
        return with_contact_seen(homes, user)  # type: ignore[arg-type]


router = SimpleRouter()
router.register("properties", PropertyViewSet, basename="api_property")
urlpatterns = router.urls
