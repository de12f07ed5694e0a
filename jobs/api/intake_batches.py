"""Spreadsheets over the API: sent, looked through, taken in, and the rows to mend handed back."""

from __future__ import annotations

from typing import Any

import django_filters
from django.db import transaction
from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import mixins, serializers, status, viewsets
from rest_framework.decorators import action
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from jobs.api.fields import IdFilter, VisibleRelatedField
from jobs.api.idempotency import IdempotentCreateMixin
from jobs.api.roles import PLANNER
from jobs.intake import batches, files
from jobs.models import IntakeBatch, IntakeRow, Scheme
from jobs.tasks import look_through_intake_batch, take_in_intake_batch


class IntakeBatchSerializer(serializers.ModelSerializer):
    """A spreadsheet. `refusal` says why it could not be read, or which columns were not."""

    scheme = VisibleRelatedField(queryset=Scheme.objects.all())
    file = serializers.FileField(write_only=True, help_text="CSV or XLSX.")

    class Meta:
        model = IntakeBatch
        fields = [
            "id",
            "scheme",
            "file",
            "file_name",
            "sha256",
            "state",
            "refusal",
            "row_count",
            "rows_done",
            "sent_at",
            "finished_at",
        ]
        read_only_fields = [
            "file_name",
            "sha256",
            "state",
            "refusal",
            "row_count",
            "rows_done",
            "finished_at",
        ]

    def create(self, data: dict[str, Any]) -> IntakeBatch:
        user, upload = self.context["request"].user, data["file"]
        with transaction.atomic():
            batch = batches.receive_file(user.company, data["scheme"], upload, upload.name, user)
            transaction.on_commit(lambda: look_through_intake_batch.delay(batch.pk))
        return batch


class ProblemSerializer(serializers.Serializer[Any]):
    field = serializers.CharField()
    message = serializers.CharField()
    remedy = serializers.CharField()


class IntakeRowSerializer(serializers.ModelSerializer):
    values = serializers.DictField(child=serializers.CharField())
    problems = ProblemSerializer(many=True)

    class Meta:
        model = IntakeRow
        fields = ["number", "outcome", "values", "problems", "job"]


class IntakeBatchFilter(django_filters.FilterSet):
    scheme = IdFilter()

    class Meta:
        model = IntakeBatch
        fields = ["scheme", "state"]


class IntakeBatchViewSet(
    IdempotentCreateMixin,
    mixins.RetrieveModelMixin,
    mixins.ListModelMixin,
    viewsets.GenericViewSet[IntakeBatch],
):
    read_roles = PLANNER
    write_roles = PLANNER
    serializer_class = IntakeBatchSerializer
    parser_classes = (MultiPartParser,)
    filterset_class = IntakeBatchFilter
    queryset = IntakeBatch.objects.none()

    def get_queryset(self) -> Any:
        return IntakeBatch.objects.visible_to(self.request.user)

    @extend_schema(
        responses=IntakeRowSerializer(many=True),
        parameters=[OpenApiParameter("outcome", enum=IntakeRow.Outcome.values)],
    )
    @action(detail=True, filterset_class=None, queryset=IntakeRow.objects.none())
    def rows(self, request: Request, pk: str) -> Response:
        """The rows of a batch with what is wrong with each, paged."""
        rows = self.get_object().rows.order_by("number")
        if outcome := request.query_params.get("outcome"):
            rows = rows.filter(outcome=outcome)
        page = self.paginate_queryset(rows)
        return self.get_paginated_response(IntakeRowSerializer(page, many=True).data)

    @extend_schema(request=None, responses={202: IntakeBatchSerializer})
    @action(detail=True, methods=["post"], url_path="import")
    def take_in(self, request: Request, pk: str) -> Response:
        """Take in the good rows of a batch that was looked through. `rows_done` tells how far."""
        batch = self.get_object()
        with transaction.atomic():
            batches.begin_import(batch)
            transaction.on_commit(lambda: take_in_intake_batch.delay(batch.pk))
        return Response(self.get_serializer(batch).data, status=status.HTTP_202_ACCEPTED)

    @extend_schema(
        responses={(200, "text/csv"): OpenApiTypes.STR},
        parameters=[OpenApiParameter("kind", enum=list(files.MEDIA_TYPES))],
    )
    @action(detail=True, url_path="to-mend")
    def to_mend(self, request: Request, pk: str) -> HttpResponse:
        """The rows to mend as a file (`kind` csv or xlsx), to be sent again once mended."""
        kind = request.query_params.get("kind", "csv")
        content = files.rejected_rows_file(self.get_object(), kind)
        return HttpResponse(content, content_type=files.MEDIA_TYPES[kind])


router = SimpleRouter()
router.register("intake-batches", IntakeBatchViewSet, basename="api_intake_batch")
urlpatterns = router.urls
