"""Visits: booking one for a job, the list, moving and cancelling."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_POST

from jobs.errors import Conflict, Refused, Stale
from jobs.models import Job, Role, User, Visit
from jobs.pages import converters  # noqa: F401  (registers <isodate:...>)
from jobs.pages.access import page_for
from jobs.pages.edits import history_link
from jobs.pages.paging import LatePages
from jobs.pages.planning_lend import SendAlongForm
from jobs.pages.reason_form import ReasonForm
from jobs.pages.refusals import REFUSED, put_back, show_refusal, tried
from jobs.pages.visit_forms import BookingForm, FoundForm, MovingForm, VisitFilter, VisitForm
from jobs.planning.booking import (
    book_visit,
    cancel_visit,
    hours_of,
    kinds_bookable,
    move_visit,
    refuse_past,
    span,
)
from jobs.planning.clashes import clashing_visits, in_words
from jobs.planning.electrical import finish_electrical_visit
from jobs.planning.going_along import LeftBehind, along_words, going_along
from jobs.planning.week import crews_on_day

VISITS_A_PAGE = 50
PAGE = "jobs/visits/visit.html"


@page_for(Role.PLANNER, Role.SURVEYOR)
def visit_list(request: HttpRequest) -> HttpResponse:
    shown = VisitFilter(request.GET, user=request.user)
    context = {
        "filter": shown,
        "page": LatePages(shown.visits(), VISITS_A_PAGE).get_page(request.GET.get("page")),
        "page_title": "Visits",
        "page_actions": [_overview(request.user)],
    }
    return render(request, "jobs/visits/visit_list.html", context)


def _overview(user: User) -> dict[str, str]:
    """Where all visits are seen together: the board for who plans, the week for who surveys."""
    if user.role == Role.PLANNER:
        return {"url": "/planning/", "label": "Planning"}
    return {"url": "/week/", "label": "Week at a glance"}


@page_for(Role.PLANNER)
def book(request: HttpRequest, pk: int) -> HttpResponse:
    job = get_object_or_404(Job.objects.visible_to(request.user).with_place(), pk=pk)
    form = BookingForm(request.POST or None, job=job, user=request.user)
    if request.method == "POST" and form.is_valid():
        visit = _try_booking(form, job, request.user)
        if visit is not None:
            messages.success(request, f"Booked: {visit}, {visit.crew}.")
            return redirect("job", pk=job.pk)
    context = {
        "job": job,
        "form": form,
        "bookable": kinds_bookable(job),
        "day": form.shown_day,
        "crews": crews_on_day(request.user, form.shown_day),
        "page_title": f"Book a visit to {job.property}",
        "page_kicker": f"{job.reference} · {job.property.postcode}",
    }
    return render(request, "jobs/visits/book.html", context)


def _try_booking(form: BookingForm, job: Job, user: User) -> Visit | None:
    given = form.cleaned_data
    try:
        refuse_past(form.starts_at)
        return book_visit(
            job,
            given["kind"],
            given["crew"],
            form.chosen_van,
            form.starts_at,
            given["hours"],
            user,
            given["note"],
        )
    except Refused as refusal:
        _show(form, refusal)
        return None


def _show(form: VisitForm, refusal: Refused, moved: Visit | None = None) -> None:
    """The refusal, and for a clash where crew, van or operatives are at that time."""
    show_refusal(form, refusal, starts_at="time")
    if isinstance(refusal, Conflict) and not isinstance(refusal, Stale):
        during = span(form.starts_at, form.cleaned_data["hours"])
        crew, van = form.cleaned_data["crew"], form.chosen_van
        for visit in clashing_visits(during, crew, van, but=moved):
            form.add_error(None, in_words(visit))


@page_for(Role.PLANNER)
def crews_day(request: HttpRequest) -> HttpResponse:
    """Where every crew is on a day: the table beside the booking form, asked for by htmx."""
    try:
        day = date.fromisoformat(request.GET.get("day", ""))
    except ValueError:
        day = timezone.localdate()
    context = {"day": day, "crews": crews_on_day(request.user, day)}
    return render(request, "jobs/visits/crews_day.html", context)


@page_for(Role.PLANNER, Role.SURVEYOR, Role.COMPLIANCE_OFFICER)
def visit(request: HttpRequest, pk: int) -> HttpResponse:
    """One visit: what it is, and for the planner the form to move it."""
    record = get_object_or_404(Visit.objects.visible_to(request.user).with_job(), pk=pk)
    may_move = request.user.role == Role.PLANNER and record.status == Visit.Status.BOOKED
    form = MovingForm(request.POST or None, visit=record, user=request.user) if may_move else None
    if form and form.is_valid() and (told := _try_moving(form, record, request.user)):
        messages.success(request, told)
        return redirect("visit", pk=record.pk)
    return render(request, PAGE, _visit_context(record, form, request.user))


def show_refused(request: HttpRequest, record: Visit, **refused: Any) -> HttpResponse:
    """The visit's page with a form of it that was refused, and all that was given still in it."""
    booked = record.status == Visit.Status.BOOKED
    form = MovingForm(visit=record, user=request.user) if booked else None  # type: ignore[arg-type]
    context = put_back(_visit_context(record, form, request.user), **refused)  # type: ignore[arg-type]
    return render(request, PAGE, context, status=REFUSED)


def _visit_context(record: Visit, form: MovingForm | None, user: User) -> dict[str, Any]:
    return {
        "visit": record,
        "form": form,
        "operatives": record.visit_operatives.select_related("operative"),
        "send_along": SendAlongForm(visit=record, user=user) if form else None,
        "hours": hours_of(record),
        "reason_form": ReasonForm() if form else None,
        "found_form": FoundForm() if form and record.kind == Visit.Kind.ELECTRICAL else None,
        "day": form.shown_day if form else None,
        "crews": crews_on_day(user, form.shown_day) if form else (),
        "page_title": f"{record.get_kind_display()} at {record.job.property}",
        "page_kicker": record.job.reference,
        "page_actions": [history_link("job_edits", record.job_id)] * (user.role != Role.SURVEYOR),
    }


def _try_moving(form: MovingForm, record: Visit, user: User) -> str:
    """What is said of a move that was made; nothing where it was refused."""
    given = form.cleaned_data
    went_along = list(going_along(record, given["crew"]))
    try:
        refuse_past(form.starts_at)
        moved = move_visit(
            record,
            by=user,
            version=given["version"],
            starts_at=form.starts_at,
            hours=given["hours"],
            crew=given["crew"],
            van=form.chosen_van,
            note=given["note"],
            may_leave_behind=[person.pk for person in given["may_leave_behind"]],
        )
    except LeftBehind as refusal:
        form.ask_without(each.person for each in refusal.left)
        form.add_error("may_leave_behind", f"{refusal.message} Tick to move it without them.")
        return ""
    except Refused as refusal:
        _show(form, refusal, record)
        return ""
    return f"The visit is moved.{along_words(moved, went_along)}"


@require_POST
@page_for(Role.PLANNER)
def visit_cancel(request: HttpRequest, pk: int) -> HttpResponse:
    record = get_object_or_404(Visit.objects.visible_to(request.user).with_job(), pk=pk)
    form = ReasonForm(request.POST, unless_given="Say why the visit is cancelled.")

    def act(given: Mapping[str, Any]) -> str:
        cancel_visit(record, given["reason"], request.user)
        return "The visit is cancelled."

    if tried(request, form, act):
        return redirect("job", pk=record.job_id)
    return show_refused(request, record, reason_form=form)


@require_POST
@page_for(Role.PLANNER)
def visit_finish(request: HttpRequest, pk: int) -> HttpResponse:
    """Record what an electrician did, so that the fitting may follow."""
    record = get_object_or_404(Visit.objects.visible_to(request.user).with_job(), pk=pk)
    form = FoundForm(request.POST)

    def act(given: Mapping[str, Any]) -> str:
        finish_electrical_visit(record, given["found"], by=request.user)
        return "The electrical visit is recorded as done."

    if tried(request, form, act):
        return redirect("visit", pk=pk)
    return show_refused(request, record, found_form=form)


urlpatterns = [
    path("visits/", visit_list, name="visit_list"),
    path("visits/crews/", crews_day, name="crews_day"),
    path("visits/<int:pk>/", visit, name="visit"),
    path("visits/<int:pk>/cancel/", visit_cancel, name="visit_cancel"),
    path("visits/<int:pk>/finish/", visit_finish, name="visit_finish"),
    path("jobs/<int:pk>/book/", book, name="book_visit"),
]
