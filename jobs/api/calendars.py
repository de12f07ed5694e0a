"""A crew's calendar address over the API."""

from __future__ import annotations

from django.urls import path, reverse
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from jobs.api.roles import PLANNER
from jobs.models import Crew
from jobs.rounds.feeds import current_feed, renew_feed, revoke_feed


class CalendarAddressSerializer(serializers.Serializer):
    """`address` is given once, in the answer that makes it; afterwards it is empty."""

    made_at = serializers.DateTimeField(allow_null=True)
    last_read_at = serializers.DateTimeField(allow_null=True)
    address = serializers.CharField(allow_blank=True)


class CrewCalendarView(APIView):
    """The secret calendar address of a crew: whether there is one, a new one, none."""

    read_roles = PLANNER
    write_roles = PLANNER

    def _crew(self, request: Request, pk: int) -> Crew:
        return get_object_or_404(Crew.objects.visible_to(request.user), pk=pk)

    def _told(self, crew: Crew, address: str = "") -> dict[str, object]:
        feed = current_feed(crew)
        return {
            "made_at": feed.made_at if feed else None,
            "last_read_at": feed.last_read_at if feed else None,
            "address": address,
        }

    @extend_schema(responses=CalendarAddressSerializer)
    def get(self, request: Request, pk: int) -> Response:
        """Whether the crew has an address, since when, and when it was last read."""
        return Response(self._told(self._crew(request, pk)))

    @extend_schema(request=None, responses={201: CalendarAddressSerializer})
    def post(self, request: Request, pk: int) -> Response:
        """Make a new address, told this once; the former one stops."""
        crew = self._crew(request, pk)
        _, token = renew_feed(crew, request.user)
        address = request.build_absolute_uri(reverse("calendar_feed", args=[token]))
        return Response(
            self._told(crew, address), status=201, headers={"Cache-Control": "no-store"}
        )

    @extend_schema(responses={204: None})
    def delete(self, request: Request, pk: int) -> Response:
        """Stop the address."""
        revoke_feed(self._crew(request, pk))
        return Response(status=204)


urlpatterns = [
    path("crews/<int:pk>/calendar/", CrewCalendarView.as_view(), name="api_crew_calendar"),
]
