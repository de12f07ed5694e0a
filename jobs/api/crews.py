"""Crews, vans and operatives over the API."""

from __future__ import annotations

from typing import Any

import django_filters
from rest_framework import mixins, serializers, viewsets
from rest_framework.routers import SimpleRouter

from jobs.api.concurrency import VersionedUpdateMixin
from jobs.api.fields import IdFilter, VisibleRelatedField
from jobs.api.idempotency import IdempotentCreateMixin
from jobs.api.roles import OFFICE, PLANNER
from jobs.models import Crew, Depot, Operative, Skill, User, Van
from jobs.models.crews import WEEKDAYS
from jobs.planning.crews import keep


class KeptSerializer(serializers.ModelSerializer):
    """A record of the company, stored by `keep`."""

    def create(self, data: dict[str, Any]) -> Any:
        company = self.context["request"].user.company
        return keep(self.Meta.model(company=company, **data))

    def update(self, record: Any, data: dict[str, Any]) -> Any:
        for name, value in data.items():
            setattr(record, name, value)
        return keep(record)


class VanSerializer(KeptSerializer):
    class Meta:
        model = Van
        fields = ["id", "name", "load_volume_m3", "version"]
        read_only_fields = ["version"]


class CrewSerializer(KeptSerializer):
    van = VisibleRelatedField(queryset=Van.objects.all(), required=False, allow_null=True)
    depot = VisibleRelatedField(queryset=Depot.objects.all(), required=False, allow_null=True)
    operatives = serializers.PrimaryKeyRelatedField[Any](many=True, read_only=True)
    works_on = serializers.ListField(
        child=serializers.ChoiceField(choices=WEEKDAYS),
        required=False,
        help_text="Days of the week, Monday is 1 (ISO 8601).",
    )

    class Meta:
        model = Crew
        fields = [
            "id",
            "name",
            "van",
            "depot",
            "operatives",
            "base_postcode",
            "base_latitude_deg",
            "base_longitude_deg",
            "day_starts_at",
            "day_ends_at",
            "works_on",
            "nation",
            "break_minutes",
            "break_earliest",
            "break_latest",
            "overtime_minutes",
            "is_active",
            "version",
        ]
        read_only_fields = ["version"]


class SignInField(serializers.PrimaryKeyRelatedField):
    """A person of the company who goes on site."""

    def get_queryset(self) -> Any:
        return super().get_queryset().filter(company=self.context["request"].user.company_id)


class OperativeSerializer(KeptSerializer):
    crew = VisibleRelatedField(queryset=Crew.objects.all(), required=False, allow_null=True)
    user = SignInField(queryset=User.objects.all(), required=False, allow_null=True)
    skills = serializers.ListField(
        child=serializers.ChoiceField(choices=Skill.choices), required=False
    )

    class Meta:
        model = Operative
        fields = [
            "id",
            "name",
            "crew",
            "user",
            "card_reference",
            "skills",
            "leads_crew",
            "version",
        ]
        read_only_fields = ["version"]
        validators: list[Any] = []  # one lead a crew: the database says so


class CrewFilter(django_filters.FilterSet):
    van = IdFilter()

    class Meta:
        model = Crew
        fields = ["name", "is_active", "van"]


class OperativeFilter(django_filters.FilterSet):
    crew = IdFilter()

    class Meta:
        model = Operative
        fields = ["crew", "leads_crew"]


class KeptViewSet(
    IdempotentCreateMixin,
    VersionedUpdateMixin,
    mixins.ListModelMixin,
    viewsets.GenericViewSet[Any],
):
    read_roles = OFFICE
    write_roles = PLANNER

    def get_queryset(self) -> Any:
        return super().get_queryset().visible_to(self.request.user)


class VanViewSet(KeptViewSet):
    queryset = Van.objects.all()
    serializer_class = VanSerializer
    filterset_fields = ["name"]


class CrewViewSet(KeptViewSet):
    queryset = Crew.objects.prefetch_related("operatives")
    serializer_class = CrewSerializer
    filterset_class = CrewFilter


class OperativeViewSet(KeptViewSet):
    queryset = Operative.objects.all()
    serializer_class = OperativeSerializer
    filterset_class = OperativeFilter


router = SimpleRouter()
router.register("vans", VanViewSet, basename="api_van")
router.register("crews", CrewViewSet, basename="api_crew")
router.register("operatives", OperativeViewSet, basename="api_operative")
urlpatterns = router.urls
