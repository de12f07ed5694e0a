"""The schemes a company works under, an auditor's own, those of an installer's jobs."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers, viewsets
from rest_framework.routers import SimpleRouter

from jobs.api.roles import JOB_READERS, NOBODY
from jobs.models import Scheme


class SchemeSerializer(serializers.ModelSerializer):
    class Meta:
        model = Scheme
        fields = ["id", "name", "code", "starts_on", "ends_on", "remedy_weeks"]


class SchemeViewSet(viewsets.ReadOnlyModelViewSet[Scheme]):
    read_roles = JOB_READERS
    write_roles = NOBODY
    serializer_class = SchemeSerializer
    queryset = Scheme.objects.none()
    filterset_fields = ["code"]

    def get_queryset(self) -> Any:
        return Scheme.objects.visible_to(self.request.user)


router = SimpleRouter()
router.register("schemes", SchemeViewSet, basename="api_scheme")
urlpatterns = router.urls
