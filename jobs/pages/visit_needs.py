"""One visit that is needed: what it asks for, times agreed, and taking it back."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.views.decorators.http import require_POST

from jobs.errors import Refused
from jobs.models import AgreedWindow, Job, Role, User, Visit, VisitNeed
from jobs.pages.access import page_for
from jobs.pages.edits import history_link
from jobs.pages.refusals import show_refusal
from jobs.pages.registry import StorySection, register_story_section
from jobs.pages.visit_need_forms import NeedForm, WindowForm
from jobs.planning.agreeing import agree_window, drop_window
from jobs.planning.electrical import finish_electrical_visit
from jobs.planning.need_edits import change_need, reopen_need, withdraw_need, work_out_again


def _need(request: HttpRequest, pk: int) -> VisitNeed:
    mine = VisitNeed.objects.visible_to(request.user).with_job()
    return get_object_or_404(mine.prefetch_related("windows", "barred_crews"), pk=pk)


@page_for(Role.PLANNER, Role.SURVEYOR, Role.COMPLIANCE_OFFICER)
def visit_need(request: HttpRequest, pk: int) -> HttpResponse:
    """What the visit asks for; for the planner the form to change it."""
    need = _need(request, pk)
    may_edit = request.user.role == Role.PLANNER and need.state in ("open", "booked")
    form = NeedForm(request.POST or None, need=need, user=request.user) if may_edit else None
    if form and form.is_valid():
        try:
            version = form.cleaned_data["version"]
            change_need(need, by=request.user, version=version, **form.values)
            messages.success(request, "What is needed is changed.")
            return redirect("visit_need", pk=pk)
        except Refused as refusal:
            show_refusal(form, refusal)
    return _page(request, need, form=form)


@require_POST
@page_for(Role.PLANNER)
def need_window(request: HttpRequest, pk: int) -> HttpResponse:
    """Add a time that the householder agreed to."""
    need, form = _need(request, pk), WindowForm(request.POST)
    if form.is_valid():
        given = form.cleaned_data
        try:
            opens, closes = form.times
            agree_window(
                need, opens, closes, by=request.user, whole=given["whole"], note=given["note"]
            )
            return redirect("visit_need", pk=pk)
        except Refused as refusal:
            show_refusal(form, refusal, ends_at="closes", during="opens")
    return _page(request, need, form=_unbound(need, request.user), window_form=form)


@require_POST
@page_for(Role.PLANNER)
def need_window_drop(request: HttpRequest, pk: int) -> HttpResponse:
    window = get_object_or_404(AgreedWindow.objects.visible_to(request.user), pk=pk)
    drop_window(window, request.user)
    messages.success(request, "The agreed time is taken back.")
    return redirect("visit_need", pk=window.need_id)


@require_POST
@page_for(Role.PLANNER)
def need_act(request: HttpRequest, pk: int, act: str) -> HttpResponse:
    """Withdraw it, ask for it again, or have it worked out again."""
    need = _need(request, pk)
    version = request.POST.get("version", "")
    seen: dict[str, Any] = {
        "by": request.user,
        "version": int(version) if version.isdigit() else 0,
    }
    acts: dict[str, Callable[[], VisitNeed]] = {
        "withdraw": lambda: withdraw_need(need, request.POST.get("reason", ""), **seen),
        "reopen": lambda: reopen_need(need, **seen),
        "work-out": lambda: work_out_again(need, **seen),
    }
    try:
        acts[act]()
        messages.success(request, "What is needed is changed.")
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("visit_need", pk=pk)


@require_POST
@page_for(Role.PLANNER)
def visit_finish(request: HttpRequest, pk: int) -> HttpResponse:
    """Record what an electrician did, so that the fitting may follow."""
    visit = get_object_or_404(Visit.objects.visible_to(request.user), pk=pk)
    try:
        finish_electrical_visit(visit, request.POST.get("found", ""), by=request.user)
        messages.success(request, "The electrical visit is recorded as done.")
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("visit", pk=pk)


def _unbound(need: VisitNeed, user: User) -> NeedForm:
    return NeedForm(need=need, user=user)


def _page(request: HttpRequest, need: VisitNeed, **context: Any) -> HttpResponse:
    visits = need.visits.live().select_related("crew").order_by("part", "during")
    context = {
        "need": need,
        "visits": visits,
        "windows": need.windows.all(),
        "window_form": WindowForm(),
        "by_hand": _set_by_hand(need, request.user),
        "may_edit": request.user.role == Role.PLANNER,
        "page_title": f"{need.get_kind_display()} to {need.job.property}",
        "page_kicker": need.job.reference,
        "page_actions": [history_link("job_edits", need.job_id)]
        * (request.user.role != Role.SURVEYOR),
    } | context
    return render(request, "jobs/visits/need.html", context)


def _set_by_hand(need: VisitNeed, user: User) -> list[str]:
    """The labels of what a planner decided."""
    fields = NeedForm(need=need, user=user)
    known = [name for name in need.set_by_hand if name in fields.fields]
    return [str(fields[name].label).lower() for name in known]


def needs_section(job: Job, user: User) -> dict[str, Any] | None:
    """In the job's story: what it waits for, for the office."""
    needs = VisitNeed.objects.visible_to(user).filter(job=job).exclude(state="done")
    found = list(needs.select_related("preferred_crew", "after").prefetch_related("windows"))
    return {"needs": found} if found else None


def register() -> None:
    """Join the job's page. Called once, when the app is ready."""
    section = StorySection(
        "needs", "Visits needed", 38, "jobs/job/needs_section.html", needs_section
    )
    register_story_section(section)


ACTS = ("withdraw", "reopen", "work-out")
urlpatterns = [
    path("needs/<int:pk>/", visit_need, name="visit_need"),
    path("needs/<int:pk>/windows/", need_window, name="need_window"),
    path("needs/windows/<int:pk>/drop/", need_window_drop, name="need_window_drop"),
    *[path(f"needs/<int:pk>/{act}/", need_act, {"act": act}, name=f"need_{act}") for act in ACTS],
    path("visits/<int:pk>/finish/", visit_finish, name="visit_finish"),
]
