"""The schemes a company works under, an auditor's own, those of an installer's jobs.

The platform admin founds them, changes their terms and says who works under them.
"""

from __future__ import annotations

from typing import Any

from rest_framework import mixins, serializers, viewsets
from rest_framework.routers import SimpleRouter

from jobs.api.concurrency import VersionedUpdateMixin
from jobs.api.fields import VisibleRelatedField
from jobs.api.idempotency import IdempotentCreateMixin
from jobs.api.roles import JOB_READERS, PLATFORM
from jobs.errors import Refused
from jobs.models import Company, Role, Scheme
from jobs.platform.schemes import SchemeTerms, change_scheme, found_scheme

TERMS = ("name", "starts_on", "ends_on", "remedy_weeks")


class SchemeSerializer(serializers.ModelSerializer):
    companies = VisibleRelatedField(queryset=Company.objects.all(), many=True, required=False)

    class Meta:
        model = Scheme
        fields = [
            "id",
            "name",
            "code",
            "starts_on",
            "ends_on",
            "remedy_weeks",
            "companies",
            "version",
        ]
        read_only_fields = ["version"]
        validators: list[Any] = []  # the domain names the field of what cannot be
        extra_kwargs = {"name": {"validators": []}}

    def to_representation(self, scheme: Scheme) -> dict[str, Any]:
        """Who else works under a scheme is told to the platform admin alone."""
        told: dict[str, Any] = super().to_representation(scheme)
        if self.context["request"].user.role != Role.PLATFORM_ADMIN:
            del told["companies"]
        return told

    def create(self, data: dict[str, Any]) -> Scheme:
        terms = SchemeTerms(**{name: data[name] for name in TERMS if name in data})
        return found_scheme(terms, data["code"], data.get("companies", ()))

    def update(self, scheme: Scheme, data: dict[str, Any]) -> Scheme:
        if data.get("code", scheme.code) != scheme.code:
            raise Refused(
                "The code of a scheme stays.",
                field="code",
                remedy="Leave it out, or found another scheme.",
            )
        terms = SchemeTerms(**{name: data.get(name, getattr(scheme, name)) for name in TERMS})
        return change_scheme(scheme, terms, data.get("companies"))


class SchemeViewSet(
    IdempotentCreateMixin,
    VersionedUpdateMixin,
    mixins.ListModelMixin,
    viewsets.GenericViewSet[Scheme],
):
    read_roles = JOB_READERS | PLATFORM
    write_roles = PLATFORM
    serializer_class = SchemeSerializer
    queryset = Scheme.objects.prefetch_related("companies")
    filterset_fields = ["code"]

    def get_queryset(self) -> Any:
        return super().get_queryset().visible_to(self.request.user)


router = SimpleRouter()
router.register("schemes", SchemeViewSet, basename="api_scheme")
urlpatterns = router.urls
