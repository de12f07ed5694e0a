"""The load list of a crew's day: what goes on the van, marked as loaded, brought back."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

import jobs.pages.converters  # noqa: F401  registers isodate
from jobs.errors import Refused
from jobs.loading.cautions import LOADING_CAUTIONS
from jobs.loading.load_list import LoadList, load_list_for
from jobs.loading.load_list_paper import load_list_pdf
from jobs.loading.vans import mark_loaded, may_load, on_van, return_unused
from jobs.loading.when import loads_from, may_be_loaded
from jobs.models import Crew, Role
from jobs.pages.access import page_for
from jobs.pages.loading_forms import LoadForm, UnitsForm
from jobs.pages.refusals import show_refusal

REFUSED = 422
READS = (Role.PLANNER, Role.INSTALLER)


def shown_load_list(request: HttpRequest, crew_pk: int, day: date) -> LoadList:
    """The load list as this person may see it; a 404 where nothing on it is for it."""
    crews = Crew.objects.select_related("company", "depot", "van")
    crew = get_object_or_404(crews.filter(company_id=request.user.company_id), pk=crew_pk)
    found = load_list_for(request.user, crew, day)
    if found is None:
        raise Http404
    return found


def _show(request: HttpRequest, found: LoadList, form: LoadForm | None) -> HttpResponse:
    place = [found.crew.pk, found.day]
    marks = may_load(request.user, found.crew)
    is_time = may_be_loaded(found.crew, found.day)
    if form is None and marks and found.next_load is not None:
        form = LoadForm(load=found.next_load)
    context = {
        "found": found,
        "form": form if marks and (is_time or form and form.errors) else None,
        "loads_from": None if is_time or not marks else loads_from(found.crew, found.day),
        "out": on_van(found.crew, found.day) if marks else {},
        "cautions": LOADING_CAUTIONS,
        "page_kicker": f"{found.day:%a %-d %b %Y}",
        "page_title": f"Load list for {found.crew.name}",
        "page_actions": [
            {"url": reverse("load_list_pdf", args=place), "label": "Paper (PDF)"},
            {"url": reverse("round_sheet", args=place), "label": "Round sheet"},
        ],
    }
    status = REFUSED if form is not None and form.errors else 200
    return render(request, "jobs/loading/load_list.html", context, status=status)


@page_for(*READS)
def load_list(request: HttpRequest, crew_pk: int, day: date) -> HttpResponse:
    """What goes on the van of a crew on a day. An installer sees its own crew's."""
    return _show(request, shown_load_list(request, crew_pk, day), None)


@page_for(*READS)
def load_list_paper(request: HttpRequest, crew_pk: int, day: date) -> HttpResponse:
    """The same to print: a tagged PDF."""
    found = shown_load_list(request, crew_pk, day)
    return pdf_answer(load_list_pdf(found, made_at=timezone.now()), f"load-list-{day}.pdf")


def pdf_answer(content: bytes, name: str) -> HttpResponse:
    """A PDF to be looked at in the browser, under a name to keep it by."""
    answer = HttpResponse(content, content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="{name}"'
    answer["Cache-Control"] = "private, no-store"
    return answer


@require_POST
@page_for(*READS)
def load_mark(request: HttpRequest, crew_pk: int, day: date) -> HttpResponse:
    """Mark the next load as on the van; refused, the list is shown with what was typed."""
    found = shown_load_list(request, crew_pk, day)
    if not may_load(request.user, found.crew):
        raise Http404
    place = redirect("load_list", crew_pk=crew_pk, day=day)
    if found.next_load is None:
        messages.info(request, "Everything on this list is on the van already.")
        return place
    form = LoadForm(request.POST, load=found.next_load)
    if form.is_valid() and _marked(request, found, form):
        return place
    return _show(request, found, form)


def _marked(request: HttpRequest, found: LoadList, form: LoadForm) -> bool:
    given = form.cleaned_data
    try:
        record = mark_loaded(
            found.crew,
            found.day,
            given["number"],
            by=request.user,
            taken=form.taken(),
            seen=given["seen"],
            key=given["client_key"],
        )
    except Refused as refusal:
        show_refusal(form, refusal)
        return False
    messages.success(request, f"Load {record.number} is on the van.")
    return True


@page_for(*READS)
def load_return(request: HttpRequest, crew_pk: int, day: date) -> HttpResponse:
    """Bring back at the end of the day what was not used."""
    found = shown_load_list(request, crew_pk, day)
    if not may_load(request.user, found.crew):
        raise Http404
    items = {item: f"{units:,} went out and did not come back" for item, units in
             on_van(found.crew, day).items()}  # fmt: skip
    form = UnitsForm(request.POST or None, items=items, note_label="Why, or where it lies")
    if request.method == "POST" and form.is_valid() and _returned(request, found, form):
        return redirect("load_list", crew_pk=crew_pk, day=day)
    context: dict[str, Any] = {
        "form": form,
        "back_url": reverse("load_list", args=[crew_pk, day]),
        "submit": "Back in the depot",
        "nothing": "Nothing of this day’s loads is out.",
        "page_kicker": f"{found.crew.name}, {day:%a %-d %b %Y}",
        "page_title": f"Bring back to {found.depot}" if found.depot else "Bring back",
        "page_lead": "What was not used, in whole units.",
    }
    status = REFUSED if form.errors else 200
    return render(request, "jobs/loading/units_form.html", context, status=status)


def _returned(request: HttpRequest, found: LoadList, form: UnitsForm) -> bool:
    given = {item.code: units for item, units in form.given().items()}
    values = form.cleaned_data
    try:
        rows = return_unused(
            found.crew, found.day, given, by=request.user, note=values["note"],
            key=values["client_key"],
        )  # fmt: skip
    except Refused as refusal:
        show_refusal(form, refusal)
        return False
    messages.success(request, f"Back in the depot: {sum(row.quantity for row in rows):,} units.")
    return True


DAY = "load-lists/<int:crew_pk>/<isodate:day>/"
urlpatterns = [
    path(DAY, load_list, name="load_list"),
    path(f"{DAY}paper.pdf", load_list_paper, name="load_list_pdf"),
    path(f"{DAY}load/", load_mark, name="load_mark"),
    path(f"{DAY}return/", load_return, name="load_return"),
]
