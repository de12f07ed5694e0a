"""Calendars to subscribe to: a crew's secret address, the feed behind it, one visit's file."""

from __future__ import annotations

import hashlib

from allauth.account.adapter import get_adapter
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils.cache import get_conditional_response
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from jobs.errors import Refused
from jobs.models import Crew, Role, Visit
from jobs.pages.access import open_page, page_for
from jobs.rounds.calendar import crew_calendar, visit_calendar
from jobs.rounds.feeds import current_feed, feed_of, may_miss, may_read, renew_feed, revoke_feed

MEDIA_TYPE = "text/calendar; charset=utf-8"


def feed_address(request: HttpRequest, token: str) -> str:
    """The whole address of a feed, to be copied into a calendar program."""
    return request.build_absolute_uri(reverse("calendar_feed", args=[token]))


@require_safe
@open_page
def calendar_feed(request: HttpRequest, token: str) -> HttpResponse:
    """The calendar of a crew, for who knows its secret address. Asked again, it may say 304."""
    feed = feed_of(token)
    if feed is None:
        if not may_miss(get_adapter(request).get_client_ip(request)):
            return _too_often(60)
        raise Http404
    if not may_read(feed):
        return _too_often(3600)
    return calendar_answer(request, crew_calendar(feed.crew), "crew.ics")


def _too_often(seconds: int) -> HttpResponse:
    answer = HttpResponse("Asked too often. Wait a while.", "text/plain", status=429)
    answer["Retry-After"] = str(seconds)
    return answer


def calendar_answer(request: HttpRequest, content: bytes, name: str) -> HttpResponse:
    """iCalendar text with its ETag; 304 where the asker has the same already."""
    etag = f'"{hashlib.sha256(content).hexdigest()[:32]}"'
    answer = HttpResponse(content, content_type=MEDIA_TYPE)
    answer["Content-Disposition"] = f'inline; filename="{name}"'
    answer["Cache-Control"] = "private, no-cache"
    answer["ETag"] = etag
    answer["Referrer-Policy"] = "no-referrer"
    told = get_conditional_response(request, etag=etag, response=answer)
    return answer if told is None else told


@page_for(Role.PLANNER, Role.SURVEYOR, Role.INSTALLER, Role.COMPLIANCE_OFFICER)
def visit_file(request: HttpRequest, pk: int) -> HttpResponse:
    """One visit, to be put into a calendar by hand."""
    visit = get_object_or_404(Visit.objects.visible_to(request.user).with_job(), pk=pk)
    return calendar_answer(request, visit_calendar(visit), f"visit-{visit.pk}.ics")


def _own_crew(request: HttpRequest, pk: int) -> Crew:
    return get_object_or_404(Crew.objects.visible_to(request.user), pk=pk)


def _show(request: HttpRequest, crew: Crew, address: str = "") -> HttpResponse:
    context = {
        "crew": crew,
        "feed": current_feed(crew),
        "address": address,
        "page_kicker": crew.name,
        "page_title": "Calendar of the crew",
        "page_lead": "A secret address that phones and computers read the crew’s visits from.",
    }
    return render(request, "jobs/crews/calendar.html", context)


@never_cache
@page_for(Role.PLANNER)
def crew_calendar_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Whether the crew has a calendar address, since when, and whether it is read."""
    return _show(request, _own_crew(request, pk))


@never_cache
@require_POST
@page_for(Role.PLANNER)
def calendar_renew(request: HttpRequest, pk: int) -> HttpResponse:
    """Make a new address and show it, this once; the former one stops."""
    crew = _own_crew(request, pk)
    _, token = renew_feed(crew, request.user)
    return _show(request, crew, feed_address(request, token))


@require_POST
@page_for(Role.PLANNER)
def calendar_revoke(request: HttpRequest, pk: int) -> HttpResponse:
    """Stop the crew's address."""
    crew = _own_crew(request, pk)
    try:
        revoke_feed(crew)
        messages.success(request, "The calendar address is stopped.")
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("crew_calendar", pk=pk)


CREW = "crews/<int:pk>/calendar/"
urlpatterns = [
    path("calendars/<str:token>.ics", calendar_feed, name="calendar_feed"),
    path("visits/<int:pk>/visit.ics", visit_file, name="visit_calendar"),
    path(CREW, crew_calendar_page, name="crew_calendar"),
    path(f"{CREW}renew/", calendar_renew, name="crew_calendar_renew"),
    path(f"{CREW}revoke/", calendar_revoke, name="crew_calendar_revoke"),
]
