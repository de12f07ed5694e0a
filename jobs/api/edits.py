"""The history of a job over the API, edit by edit."""

from __future__ import annotations

from django.shortcuts import get_object_or_404
from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from jobs.edits import edits_of, sources_of_job
from jobs.models import Job, Role

MOST = 500


class ChangedSerializer(serializers.Serializer):
    label = serializers.CharField()
    was = serializers.CharField()
    now = serializers.CharField()


class EditSerializer(serializers.Serializer):
    """One row changed once: when, by whom, from where, and each value as it was and is."""

    at = serializers.DateTimeField()
    who = serializers.CharField()
    place = serializers.CharField()
    what = serializers.CharField()
    changes = ChangedSerializer(many=True)


class JobEditsView(APIView):
    """Every edit of a job, its home, visits and survey; the newest first, 500 at most."""

    read_roles = frozenset({Role.PLANNER, Role.COMPLIANCE_OFFICER, Role.AUDITOR})
    write_roles: frozenset[str] = frozenset()

    @extend_schema(responses=EditSerializer(many=True))
    def get(self, request: Request, pk: int) -> Response:
        job = get_object_or_404(Job.objects.visible_to(request.user), pk=pk)
        edits = edits_of(sources_of_job(job), request.user)[:MOST]  # type: ignore[arg-type]
        return Response(EditSerializer(edits, many=True).data)


urlpatterns = [path("jobs/<int:pk>/history/", JobEditsView.as_view(), name="api_job_edits")]
