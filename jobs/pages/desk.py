"""The desk: what needs the planner's hand, today's visits, the week, the stages."""

from __future__ import annotations

from datetime import date

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path
from django.utils import timezone

from jobs.models import Role, User, Visit
from jobs.pages import converters  # noqa: F401  (registers <isodate:...>)
from jobs.pages.access import page_for
from jobs.pages.registry import attention_for
from jobs.planning.attention import stage_counts
from jobs.planning.week import week_of


def todays_visits(user: User, today: date) -> list[Visit]:
    return list(
        Visit.objects.visible_to(user).live().on_day(today).with_job().order_by("during", "crew")
    )


@page_for(Role.PLANNER)
def desk(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate()
    context = {
        "items": attention_for(request.user),
        "visits": todays_visits(request.user, today),
        "week": week_of(request.user, today),
        "stages": stage_counts(request.user),
        "today": today,
        "page_title": f"{today:%A %-d %B}",
        "page_kicker": f"Desk of {request.user.company}",
        "page_actions": [
            {"url": "/properties/new/", "label": "Take in a home"},
            {"url": "/intake/", "label": "Take in a spreadsheet"},
        ],
    }
    return render(request, "jobs/desk/desk.html", context)


@page_for(Role.PLANNER, Role.SURVEYOR)
def week(request: HttpRequest, day: date | None = None) -> HttpResponse:
    """The week at a glance: the whole page, or its table alone for htmx."""
    shown = week_of(request.user, day or timezone.localdate())
    context = {
        "week": shown,
        "today": timezone.localdate(),
        "page_title": f"Week of {shown.monday:%-d %b %Y}",
    }
    template = "jobs/desk/week_table.html" if request.htmx else "jobs/desk/week.html"
    return render(request, template, context)


urlpatterns = [
    path("desk/", desk, name="desk"),
    path("week/", week, name="week"),
    path("week/<isodate:day>/", week, name="week_of"),
]
