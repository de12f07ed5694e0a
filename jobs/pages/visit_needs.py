"""One visit that is needed: what it asks for, times agreed, and taking it back."""

from __future__ import annotations

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.views.decorators.http import require_POST

from jobs.errors import Refused
from jobs.models import AgreedWindow, Job, Role, User, VisitNeed
from jobs.numbers import whole_number
from jobs.pages.access import page_for
from jobs.pages.edits import history_link
from jobs.pages.reason_form import ReasonForm
from jobs.pages.refusals import REFUSED, put_back, show_refusal, tell, tried
from jobs.pages.registry import StorySection, register_story_section
from jobs.pages.visit_need_forms import NeedForm, WindowForm
from jobs.planning.agreeing import agree_window, drop_window
from jobs.planning.need_edits import change_need, reopen_need, withdraw_need, work_out_again

PAGE = "jobs/visits/need.html"
EDITED_AT = ("open", "booked")
CHANGED = "What is needed is changed."


def _need(request: HttpRequest, pk: int) -> VisitNeed:
    mine = VisitNeed.objects.visible_to(request.user).with_job()
    return get_object_or_404(mine.prefetch_related("windows", "barred_crews"), pk=pk)


@page_for(Role.PLANNER, Role.SURVEYOR, Role.COMPLIANCE_OFFICER)
def visit_need(request: HttpRequest, pk: int) -> HttpResponse:
    """What the visit asks for; for the planner the form to change it."""
    need = _need(request, pk)
    may_edit = request.user.role == Role.PLANNER and need.state in EDITED_AT
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
def need_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    """Say that it is not needed."""
    need, form = _need(request, pk), _withdraw_form(request.POST)

    def act(given: Mapping[str, Any]) -> str:
        withdraw_need(need, given["reason"], **_seen(request))
        return CHANGED

    if tried(request, form, act):
        return redirect("visit_need", pk=pk)
    shown = _unbound(need, request.user) if need.state in EDITED_AT else None  # type: ignore[arg-type]
    return _page(request, need, form=shown, refused={"withdraw_form": form})


@require_POST
@page_for(Role.PLANNER)
def need_act(request: HttpRequest, pk: int, act: str) -> HttpResponse:
    """Ask for it again, or have it worked out again."""
    need = _need(request, pk)
    change = {"reopen": reopen_need, "work-out": work_out_again}[act]

    def told() -> str:
        change(need, **_seen(request))
        return CHANGED

    tell(request, told)
    return redirect("visit_need", pk=pk)


def _seen(request: HttpRequest) -> dict[str, Any]:
    """Who acts, on which version of the need."""
    version = whole_number(request.POST.get("version", "")) or 0
    return {"by": request.user, "version": version}


def _withdraw_form(data: Any = None) -> ReasonForm:
    form = ReasonForm(data, unless_given="Say why the visit is not needed.")
    form.fields["reason"].label = "Why it is not needed"
    return form


def _unbound(need: VisitNeed, user: User) -> NeedForm:
    return NeedForm(need=need, user=user)


def _page(
    request: HttpRequest,
    need: VisitNeed,
    refused: dict[str, Any] | None = None,
    **context: Any,
) -> HttpResponse:
    visits = need.visits.live().select_related("crew").order_by("part", "during")
    may_edit = request.user.role == Role.PLANNER
    context = {
        "need": need,
        "visits": visits,
        "windows": need.windows.all(),
        "window_form": WindowForm(),
        "by_hand": _set_by_hand(need, request.user),
        "may_edit": may_edit,
        "withdraw_form": _withdraw_form() if may_edit and need.state == "open" else None,
        "page_title": f"{need.get_kind_display()} to {need.job.property}",
        "page_kicker": need.job.reference,
        "page_actions": [history_link("job_edits", need.job_id)]
        * (request.user.role != Role.SURVEYOR),
    } | context
    status = REFUSED if refused else HTTPStatus.OK
    return render(request, PAGE, put_back(context, **(refused or {})), status=status)


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


ACTS = ("reopen", "work-out")
urlpatterns = [
    path("needs/<int:pk>/", visit_need, name="visit_need"),
    path("needs/<int:pk>/windows/", need_window, name="need_window"),
    path("needs/windows/<int:pk>/drop/", need_window_drop, name="need_window_drop"),
    path("needs/<int:pk>/withdraw/", need_withdraw, name="need_withdraw"),
    *[path(f"needs/<int:pk>/{act}/", need_act, {"act": act}, name=f"need_{act}") for act in ACTS],
]
