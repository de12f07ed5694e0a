"""Crews with their operatives, and vans: who there is to send, and in what."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.db.models import Prefetch
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path

from jobs.errors import Refused
from jobs.models import Crew, Operative, Role, Van
from jobs.pages.access import page_for
from jobs.pages.crew_forms import CrewForm, KeptForm, OperativeForm, VanForm
from jobs.pages.edits import history_link
from jobs.pages.refusals import show_refusal
from jobs.planning.crews import keep


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of record kept on the crews page, with its form and what it is called."""

    model: type[Any]
    form: type[KeptForm]
    word: str


KINDS = {
    "crew": Kind(Crew, CrewForm, "crew"),
    "van": Kind(Van, VanForm, "van"),
    "operative": Kind(Operative, OperativeForm, "operative"),
}


@page_for(Role.PLANNER, Role.SURVEYOR)
def crew_list(request: HttpRequest) -> HttpResponse:
    user = request.user
    operatives = Prefetch("operatives", Operative.objects.select_related("user"))
    context = {
        "crews": Crew.objects.visible_to(user).select_related("van").prefetch_related(operatives),
        "vans": Van.objects.visible_to(user).prefetch_related("usual_crews"),
        "loose": Operative.objects.visible_to(user).filter(crew=None).select_related("user"),
        "may_edit": user.role == Role.PLANNER,
        "page_title": "Crews",
        "page_lead": "Who there is to send, with which skills, and in what.",
        "page_actions": [history_link("yard_edits")] * (user.role == Role.PLANNER),
    }
    return render(request, "jobs/crews/crew_list.html", context)


@page_for(Role.PLANNER)
def record_form(request: HttpRequest, kind: str, pk: int | None = None) -> HttpResponse:
    """Add or edit a crew, a van or an operative."""
    what = KINDS[kind]
    mine = what.model.objects.visible_to(request.user)
    record = get_object_or_404(mine, pk=pk) if pk else what.model()
    initial = {"crew": request.GET.get("crew")} if kind == "operative" and pk is None else {}
    form = what.form(request.POST or None, instance=record, user=request.user, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            keep(form.instance, version=form.cleaned_data["version"])
            messages.success(request, f"{record} is saved.")
            return redirect("crew_list")
        except Refused as refusal:
            show_refusal(form, refusal)
    title = f"Edit {form.initial.get('name', '')}" if pk else f"Add {_article(what.word)}"
    context = {"form": form, "page_title": title.strip(), "page_actions": _history(kind, pk)}
    return render(request, "jobs/crews/record_form.html", context)


def _history(kind: str, pk: int | None) -> list[dict[str, str]]:
    """A crew's history, its people and van included; of others the whole yard's."""
    if pk is None:
        return []
    return [history_link("crew_edits", pk) if kind == "crew" else history_link("yard_edits")]


def _article(word: str) -> str:
    return f"an {word}" if word[0] in "aeiou" else f"a {word}"


urlpatterns = [
    path("crews/", crew_list, name="crew_list"),
    *[
        route
        for kind in KINDS
        for route in (
            path(f"{kind}s/new/", record_form, {"kind": kind}, name=f"{kind}_new"),
            path(f"{kind}s/<int:pk>/", record_form, {"kind": kind}, name=f"{kind}_edit"),
        )
    ],
]
