"""The planning page: crews against days, what waits to be planned, the day's map, what is new."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path
from django.utils import timezone

from jobs.models import Crew, PlanRun, Role
from jobs.pages import converters  # noqa: F401  (registers <isodate:...>)
from jobs.pages.access import page_for
from jobs.pages.planning_forms import NeedFilter, SpanForm
from jobs.planning.board import board_of, stamps_of
from jobs.planning.board_ghosts import with_ghosts
from jobs.planning.board_map import maps_of_day
from jobs.planning.board_needs import waiting_needs, waiting_stamp
from jobs.planning.board_news import news_for
from jobs.planning.board_parts import DAY_CHOICES, Board

ROWS_AT_ONCE = 10
"""Crews drawn with the page; the others are drawn when they come into sight."""


@page_for(Role.PLANNER)
def planning(request: HttpRequest) -> HttpResponse:
    span = SpanForm(request.GET)
    board = _board(request, span)
    needs = NeedFilter(request.GET, user=request.user)
    context = {
        "board": _first_rows(board),
        "today": timezone.localdate(),
        "choices": DAY_CHOICES,
        "maps": maps_of_day(board, _day_of_map(board)),
        "latest_run": PlanRun.objects.visible_to(request.user).first(),
        "page_title": "Planning",
        **_needs_context(needs),
    }
    return render(request, "jobs/planning/planning.html", context)


def _board(request: HttpRequest, span: SpanForm, crews: list[int] | None = None) -> Board:
    """The board that is asked for, with a run's proposals if that is asked too."""
    board = board_of(request.user, span.first_day, span.days, crews=crews)
    if span.run_id is None:
        return board
    run = get_object_or_404(PlanRun.objects.visible_to(request.user), pk=span.run_id)
    return with_ghosts(board, run)


def _day_of_map(board: Board) -> date:
    """Today where it is shown, else the first day with a visit, else the first."""
    busy = [head.day for head in board.heads if head.visits]
    today = timezone.localdate()
    return today if today in board.days else next(iter(busy), board.days[0])


def _first_rows(board: Board) -> Board:
    """The board with only its first crews drawn; one day of everybody is little enough."""
    if board.count == 1:
        return board
    rows = [
        row if nth < ROWS_AT_ONCE else replace(row, tracks=()) for nth, row in enumerate(board.rows)
    ]
    return replace(board, rows=tuple(rows))


def _needs_context(needs: NeedFilter) -> dict[str, Any]:
    return {
        "need_filter": needs,
        "waiting": waiting_needs(needs.needs(), needs.user),
        "need_stamp": waiting_stamp(needs.user),
    }


@page_for(Role.PLANNER)
def planning_row(request: HttpRequest, pk: int) -> HttpResponse:
    """One crew's days, asked for by htmx when it comes into sight or has changed."""
    crew = get_object_or_404(Crew.objects.visible_to(request.user), pk=pk)
    span = SpanForm(request.GET)
    board = _board(request, span, [crew.pk])
    row = next((row for row in board.rows if row.crew == crew), None)
    context = {"row": row, "board": board, "today": timezone.localdate()}
    return render(request, "jobs/planning/crew_row.html", context)


@page_for(Role.PLANNER)
def planning_needs(request: HttpRequest) -> HttpResponse:
    """What waits to be planned, narrowed; asked for by htmx."""
    return render(
        request,
        "jobs/planning/needs.html",
        _needs_context(NeedFilter(request.GET, user=request.user)),
    )


@page_for(Role.PLANNER)
def planning_map(request: HttpRequest, day: date) -> HttpResponse:
    """The rounds of a day, asked for by htmx; the days of the board are offered beside it."""
    span = SpanForm(request.GET)
    board = board_of(request.user, span.first_day, span.days)
    if day not in board.days:
        board = board_of(request.user, day, 1)
    context = {"maps": maps_of_day(board, day), "board": board}
    return render(request, "jobs/planning/map.html", context)


@page_for(Role.PLANNER)
def planning_news(request: HttpRequest) -> HttpResponse:
    """Whether anything shown has changed since: 204 for no, else an event that says what.

    The page sends the stamp of every row it shows, so a change is found whoever made it and
    however: by page, by API, by a plan that was accepted.
    """
    span = SpanForm(request.GET)
    seen = dict(stamp.split(".", 1) for stamp in request.GET.getlist("stamp") if "." in stamp)
    now = stamps_of(request.user, span.first_day, span.days)
    changed = [pk for pk, stamp in now.items() if seen.get(str(pk)) != stamp]
    needs = request.GET.get("need_stamp") != waiting_stamp(request.user)
    if not changed and not needs:
        return HttpResponse(status=204)
    told = [
        {"visit": news.visit_id, "version": news.version, "words": news.sentence}
        for news in news_for(request.user)
    ]
    event = {"planning:changed": {"crews": changed, "needs": needs, "news": told}}
    return HttpResponse(headers={"HX-Trigger": json.dumps(event)})


urlpatterns = [
    path("planning/", planning, name="planning"),
    path("planning/crews/<int:pk>/", planning_row, name="planning_row"),
    path("planning/needs/", planning_needs, name="planning_needs"),
    path("planning/map/<isodate:day>/", planning_map, name="planning_map"),
    path("planning/news/", planning_news, name="planning_news"),
]
