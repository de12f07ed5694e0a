"""Depth rules over the API: read by everybody signed in, proposed, approved by a second person."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from compliance.api.roles import EVERYBODY, RULE_KEEPERS
from compliance.models import DepthRule
from compliance.rules import PROPOSED_FIELDS, approve_rule, propose_rule
from jobs.api.idempotency import IdempotentCreateMixin


class DepthRuleSerializer(serializers.ModelSerializer):
    """Depths in mm, floor to a reading in m2, conductivity in W/mK."""

    approved = serializers.SerializerMethodField()

    class Meta:
        model = DepthRule
        fields = ["id", *PROPOSED_FIELDS, "approved", "approved_at", "created_at"]
        read_only_fields = ["approved_at", "created_at"]
        validators: list[Any] = []  # one a nation and day: the database says so

    def get_approved(self, rule: DepthRule) -> bool:
        return rule.approved_at is not None

    def create(self, data: dict[str, Any]) -> DepthRule:
        return propose_rule(self.context["request"].user, data)


class DepthRuleViewSet(
    IdempotentCreateMixin,
    mixins.ListModelMixin,
    mixins.RetrieveModelMixin,
    viewsets.GenericViewSet[DepthRule],
):
    read_roles = EVERYBODY
    write_roles = RULE_KEEPERS
    serializer_class = DepthRuleSerializer
    filterset_fields = ["nation"]
    queryset = DepthRule.objects.all()

    @extend_schema(request=None, responses=DepthRuleSerializer)
    @action(detail=True, methods=["post"])
    def approve(self, request: Request, pk: str) -> Response:
        """Bring a proposed rule into force from its day; not by its proposer's own company."""
        rule = approve_rule(self.get_object(), request.user)
        return Response(self.get_serializer(rule).data)


router = SimpleRouter()
router.register("depth-rules", DepthRuleViewSet, basename="api_depth_rule")
urlpatterns = router.urls
