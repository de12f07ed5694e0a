"""Depth rules over the API: read by everybody signed in, proposed, approved by a second person."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.db import transaction
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from compliance import tasks
from compliance.api.roles import EVERYBODY, RULE_KEEPERS
from compliance.models import DepthRule
from compliance.rule_approval import approve_rule, note_preview_seen
from compliance.rule_effects import effects_of
from compliance.rule_runs import begin_preview
from compliance.rules import PROPOSED_FIELDS, propose_rule
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


class RuleChangeSerializer(serializers.Serializer):
    company = serializers.CharField()
    before = serializers.CharField()
    after = serializers.CharField()
    jobs = serializers.IntegerField()


class RuleEffectsSerializer(serializers.Serializer):
    """Other companies than your own are counted together."""

    done = serializers.IntegerField(source="run.done", default=0)
    total = serializers.IntegerField(source="run.total", default=0)
    ended_at = serializers.DateTimeField(source="run.ended_at", default=None)
    looked_at = serializers.IntegerField()
    changing = serializers.IntegerField()
    by_company = RuleChangeSerializer(many=True)
    planned_shallower = serializers.IntegerField(source="planned_jobs")


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
        """Bring a proposed rule into force from its day; not by its proposer's own company.

        Read `preview` first: whoever approves has seen, within a day, what the rule would change.
        409 where that changed meanwhile: have it worked out again and read it anew.
        """
        rule = approve_rule(self.get_object(), request.user)
        return Response(self.get_serializer(rule).data)

    @extend_schema(request=None, responses=RuleEffectsSerializer)
    @action(detail=True, methods=["get", "post"])
    def preview(self, request: Request, pk: str) -> Response:
        """What a proposed rule would change among open jobs; POST begins to work it out."""
        rule = self.get_object()
        if request.method == "POST":
            run = begin_preview(rule, request.user)
            transaction.on_commit(partial(tasks.walk_for_rule.delay, run.pk), robust=True)
        effects = effects_of(rule, request.user)
        note_preview_seen(effects.run, request.user)
        status = 202 if request.method == "POST" else 200
        return Response(RuleEffectsSerializer(effects).data, status=status)


router = SimpleRouter()
router.register("depth-rules", DepthRuleViewSet, basename="api_depth_rule")
urlpatterns = router.urls
