"""Companies, kept by the platform admin."""

from __future__ import annotations

from typing import Any

from rest_framework import mixins, serializers, viewsets
from rest_framework.routers import SimpleRouter

from jobs.api.concurrency import VersionedUpdateMixin
from jobs.api.idempotency import IdempotentCreateMixin
from jobs.api.roles import PLATFORM
from jobs.models import Company
from jobs.platform.companies import found_company, rename_company, set_office_phone


class CompanySerializer(serializers.ModelSerializer):
    schemes = serializers.PrimaryKeyRelatedField[Any](many=True, read_only=True)

    class Meta:
        model = Company
        fields = ["id", "name", "slug", "is_invented", "office_phone", "schemes", "version"]
        read_only_fields = ["slug", "is_invented", "version"]
        extra_kwargs = {"name": {"validators": []}}  # the domain says which name is taken

    def create(self, data: dict[str, Any]) -> Company:
        return found_company(data["name"])

    def update(self, company: Company, data: dict[str, Any]) -> Company:
        if "office_phone" in data:
            company = set_office_phone(company, data["office_phone"])
        return rename_company(company, data["name"]) if "name" in data else company


class CompanyViewSet(
    IdempotentCreateMixin,
    VersionedUpdateMixin,
    mixins.ListModelMixin,
    viewsets.GenericViewSet[Company],
):
    """A company is founded and renamed, never deleted: its records name it."""

    read_roles = write_roles = PLATFORM
    serializer_class = CompanySerializer
    queryset = Company.objects.prefetch_related("schemes")
    filterset_fields = ["slug"]

    def get_queryset(self) -> Any:
        return super().get_queryset().visible_to(self.request.user)


router = SimpleRouter()
router.register("companies", CompanyViewSet, basename="api_company")
urlpatterns = router.urls
