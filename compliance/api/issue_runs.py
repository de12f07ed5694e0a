"""Issuing many certificates over the API: begun, watched, stopped, gone on with."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import mixins, serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from compliance.api.roles import OFFICER
from compliance.issue_runs import MOST_REFERENCES, begin_issue_run, counts_of, go_on, stop_run
from compliance.models import IssueRun, IssueRunJob
from compliance.pages.issue_runs import send_on
from jobs.api.fields import VisibleRelatedField
from jobs.api.idempotency import IdempotentCreateMixin
from jobs.models import Scheme


class IssueRunSerializer(serializers.ModelSerializer):
    """`references` narrow the run to these jobs; without them it takes all that wait."""

    scheme = VisibleRelatedField(queryset=Scheme.objects.all(), required=False, allow_null=True)
    references = serializers.ListField(
        child=serializers.CharField(max_length=20),
        max_length=MOST_REFERENCES,
        required=False,
        write_only=True,
    )
    counts = serializers.SerializerMethodField()

    class Meta:
        model = IssueRun
        fields = [
            "id",
            "scheme",
            "references",
            "after_withdrawal",
            "begun_by",
            "begun_at",
            "stop_asked_at",
            "ended_at",
            "counts",
        ]
        read_only_fields = ["begun_by", "begun_at", "stop_asked_at", "ended_at"]

    @extend_schema_field(serializers.DictField(child=serializers.IntegerField()))
    def get_counts(self, run: IssueRun) -> dict[str, int]:
        return dict(counts_of(run))

    def create(self, data: dict[str, Any]) -> IssueRun:
        run = begin_issue_run(self.context["request"].user, **data)
        send_on(run)
        return run


class RefusedJobSerializer(serializers.ModelSerializer):
    class Meta:
        model = IssueRunJob
        fields = ["job", "reason"]


class IssueRunViewSet(
    IdempotentCreateMixin,
    mixins.CreateModelMixin,
    mixins.ListModelMixin,
    mixins.RetrieveModelMixin,
    viewsets.GenericViewSet[IssueRun],
):
    read_roles = OFFICER
    write_roles = OFFICER
    serializer_class = IssueRunSerializer
    queryset = IssueRun.objects.none()

    def get_queryset(self) -> QuerySet[IssueRun]:
        return IssueRun.objects.visible_to(self.request.user)

    @extend_schema(request=None, responses=IssueRunSerializer)
    @action(detail=True, methods=["post"])
    def stop(self, request: Request, pk: str) -> Response:
        """Begin no further piece; what is in hand is finished."""
        stop_run(self.get_object())
        return Response(self.get_serializer(self.get_object()).data)

    @extend_schema(request=None, responses=IssueRunSerializer)
    @action(detail=True, methods=["post"], url_path="go-on")
    def go_on(self, request: Request, pk: str) -> Response:
        """Take a stopped run up again where it stopped."""
        run = self.get_object()
        go_on(run)
        send_on(run)
        return Response(self.get_serializer(self.get_object()).data)

    @extend_schema(responses=RefusedJobSerializer(many=True))
    @action(detail=True, methods=["get"], pagination_class=None)
    def refused(self, request: Request, pk: str) -> Response:
        """The jobs that got no certificate, and why."""
        rows = IssueRunJob.objects.filter(run=self.get_object()).refused()
        return Response(RefusedJobSerializer(rows, many=True).data)


router = SimpleRouter()
router.register("issue-runs", IssueRunViewSet, basename="api_issue_run")
urlpatterns = router.urls
