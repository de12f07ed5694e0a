"""Waivers over the API: recorded for a shortfall, answered by a second person."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from compliance.api.roles import PROOF_READERS, SENDERS
from compliance.models import Shortfall, Waiver
from compliance.waivers import answer_waiver, record_waiver
from jobs.api.fields import VisibleRelatedField
from jobs.api.idempotency import IdempotentCreateMixin


class WaiverSerializer(serializers.ModelSerializer):
    """`agreed` is null until a second person has answered."""

    shortfall = VisibleRelatedField(queryset=Shortfall.objects.all())
    agreed = serializers.SerializerMethodField()
    note = serializers.SerializerMethodField()

    class Meta:
        model = Waiver
        fields = ["id", "job", "shortfall", "reason", "recorded_at", "agreed", "note"]
        read_only_fields = ["job", "recorded_at"]

    def get_agreed(self, waiver: Waiver) -> bool | None:
        return waiver.answer.agreed if hasattr(waiver, "answer") else None

    def get_note(self, waiver: Waiver) -> str:
        return waiver.answer.note if hasattr(waiver, "answer") else ""

    def create(self, data: dict[str, Any]) -> Waiver:
        return record_waiver(data["shortfall"], data["reason"], self.context["request"].user)


class AnswerSerializer(serializers.Serializer):
    agreed = serializers.BooleanField()
    note = serializers.CharField(required=False, allow_blank=True, default="", max_length=600)


class WaiverViewSet(
    IdempotentCreateMixin,
    mixins.ListModelMixin,
    mixins.RetrieveModelMixin,
    viewsets.GenericViewSet[Waiver],
):
    read_roles = PROOF_READERS
    write_roles = SENDERS  # a planner may be the second person; only officers record one
    serializer_class = WaiverSerializer
    queryset = Waiver.objects.none()

    def get_queryset(self) -> QuerySet[Waiver]:
        return Waiver.objects.visible_to(self.request.user).with_people()

    @extend_schema(request=AnswerSerializer, responses=WaiverSerializer)
    @action(detail=True, methods=["post"])
    def answer(self, request: Request, pk: str) -> Response:
        """The second person's answer: another officer or, without one, a planner."""
        waiver = self.get_object()
        asked = AnswerSerializer(data=request.data)
        asked.is_valid(raise_exception=True)
        answer_waiver(waiver, by=request.user, **asked.validated_data)
        return Response(self.get_serializer(self.get_queryset().get(pk=waiver.pk)).data)


router = SimpleRouter()
router.register("waivers", WaiverViewSet, basename="api_waiver")
urlpatterns = router.urls
