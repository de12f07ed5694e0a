"""Moving on the planning page: whether a visit fits somewhere, putting it there, its sheet."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.views.decorators.http import require_POST

from jobs.errors import Refused, Stale
from jobs.models import Role, User, Visit, VisitNeed
from jobs.numbers import whole_number
from jobs.pages.access import page_for
from jobs.pages.planning_forms import MoveForm, SpanForm, WhereForm
from jobs.planning.agreeing import hold, tell_householder
from jobs.planning.board_engine import standing_of
from jobs.planning.board_fit import fit_of, places_for
from jobs.planning.board_moves import Moved, move_on_board, place_on_board
from jobs.planning.board_news import last_change_of
from jobs.planning.board_sheet import sheet_of, why_waiting
from jobs.planning.going_along import LeftBehind

CANNOT_READ = "Say which visit, crew and time: this could not be read. Load the page again."


@page_for(Role.PLANNER)
def planning_fit(request: HttpRequest) -> HttpResponse:
    """Whether a visit, or what waits for one, can lie with a crew from a moment on."""
    where = WhereForm(request.GET, user=request.user)
    if not where.is_valid():
        return JsonResponse({"message": CANNOT_READ}, status=400)
    given, span = where.cleaned_data, SpanForm(request.GET)
    thing = _in_hand(request.GET, request.user)
    standing = standing_of(request.user, span.first_day, span.days)
    fit = fit_of(thing, given["crew"], given["starts_at"], standing)
    return JsonResponse(asdict(fit))


@page_for(Role.PLANNER)
def planning_places(request: HttpRequest) -> HttpResponse:
    """For every crew and day shown, the best place for a visit, or why there is none."""
    if not {"visit", "need"} & request.GET.keys():
        return JsonResponse({"message": CANNOT_READ}, status=400)
    span = SpanForm(request.GET)
    thing = _in_hand(request.GET, request.user)
    places = places_for(request.user, thing, span.first_day, span.days)
    return JsonResponse({"places": [asdict(place) for place in places]})


@require_POST
@page_for(Role.PLANNER)
def planning_move(request: HttpRequest) -> HttpResponse:
    """Move a visit that was seen at a version; 409 with the reason, 412 with what came between."""
    form = MoveForm(request.POST, user=request.user)
    if not form.is_valid():
        return JsonResponse({"message": CANNOT_READ}, status=400)
    given = form.cleaned_data
    visit = get_object_or_404(
        Visit.objects.visible_to(request.user).with_job(), pk=_whole(request.POST, "visit")
    )
    try:
        moved = move_on_board(
            visit,
            given["crew"],
            given["starts_at"],
            by=request.user,
            version=given["version"],
            may_leave_behind=form.may_leave_behind,
            bring_back=form.bring_back,
        )
    except Refused as refusal:
        return _refused(refusal, visit)
    return _done(moved)


@require_POST
@page_for(Role.PLANNER)
def planning_place(request: HttpRequest) -> HttpResponse:
    """Book what waits with a crew from a moment on."""
    form = WhereForm(request.POST, user=request.user)
    if not form.is_valid():
        return JsonResponse({"message": CANNOT_READ}, status=400)
    needs = VisitNeed.objects.visible_to(request.user).with_job()
    need = get_object_or_404(needs, pk=_whole(request.POST, "need"))
    given = form.cleaned_data
    try:
        return _done(place_on_board(need, given["crew"], given["starts_at"], by=request.user))
    except Refused as refusal:
        return _refused(refusal)


@page_for(Role.PLANNER)
def planning_sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """What stands about one visit: why it lies there, what moving it would cost, other places."""
    visit = get_object_or_404(Visit.objects.visible_to(request.user).with_job(), pk=pk)
    span = SpanForm(request.GET)
    context = {
        "sheet": sheet_of(request.user, visit, span.first_day, span.days),
        "last_change": last_change_of(visit),
        "span": span,
    }
    return render(request, "jobs/planning/sheet.html", context)


@page_for(Role.PLANNER)
def planning_need_why(request: HttpRequest, pk: int) -> HttpResponse:
    """Why one visit that waits has no place on the days shown, and what would let it in."""
    need = get_object_or_404(VisitNeed.objects.visible_to(request.user).with_job(), pk=pk)
    span = SpanForm(request.GET)
    context = {"why": why_waiting(request.user, need, span.first_day, span.days), "need": need}
    return render(request, "jobs/planning/need_why.html", context)


@require_POST
@page_for(Role.PLANNER)
def planning_mark(request: HttpRequest, pk: int) -> HttpResponse:
    """Hold a visit, let it go, or record that the householder was told; the sheet again."""
    visit = get_object_or_404(Visit.objects.visible_to(request.user).with_job(), pk=pk)
    version = _whole(request.POST, "version")
    try:
        if request.POST.get("mark") == "promised":
            tell_householder(visit, by=request.user, version=version)
        else:
            held = request.POST.get("mark") == "held"
            hold(visit, held, by=request.user, version=version)
    except Refused as refusal:
        return HttpResponse(str(refusal), status=refusal.status, content_type="text/plain")
    if request.htmx:
        return planning_sheet(request, pk)
    return redirect("visit", pk=pk)


def _in_hand(asked: Any, user: User) -> Visit | VisitNeed:
    """The visit or the need that a request names, of one's own company; else a 404."""
    if "visit" in asked:
        visits = Visit.objects.visible_to(user).with_job()
        return get_object_or_404(visits, pk=_whole(asked, "visit"))
    needs = VisitNeed.objects.visible_to(user).with_job()
    return get_object_or_404(needs, pk=_whole(asked, "need"))


def _whole(asked: Any, name: str) -> int:
    """A whole number of a request; 0, which names nothing, for anything else."""
    return whole_number(asked.get(name, "")) or 0


def _done(moved: Moved) -> JsonResponse:
    return JsonResponse(
        {
            "words": moved.sentence,
            "visit": moved.visit.pk,
            "version": moved.visit.version,
            "crews": moved.crews,
            "left": moved.left,
        }
    )


def _refused(refusal: Refused, visit: Visit | None = None) -> JsonResponse:
    """The refusal; when somebody was faster, with what they did; who would be left behind."""
    answer: dict[str, Any] = {"message": str(refusal)}
    if isinstance(refusal, LeftBehind):
        answer |= {"message": refusal.message, "leaves": [p.person.pk for p in refusal.left]}
    if isinstance(refusal, Stale) and visit is not None:
        news = last_change_of(visit)
        now = Visit.objects.get(pk=visit.pk)
        answer["crews"] = [now.crew_id]
        if news is not None:
            answer["message"] = f"{news.sentence} Look at it where it is now."
    return JsonResponse(answer, status=refusal.status)


urlpatterns = [
    path("planning/fit/", planning_fit, name="planning_fit"),
    path("planning/places/", planning_places, name="planning_places"),
    path("planning/move/", planning_move, name="planning_move"),
    path("planning/place/", planning_place, name="planning_place"),
    path("planning/visits/<int:pk>/", planning_sheet, name="planning_sheet"),
    path("planning/visits/<int:pk>/mark/", planning_mark, name="planning_mark"),
    path("planning/needs/<int:pk>/why/", planning_need_why, name="planning_need_why"),
]
