"""Taking in a spreadsheet: send it, look at what would become of each row, take in the good."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_POST

from jobs.errors import Refused
from jobs.intake import batches, files
from jobs.intake.values import PROPERTY_FIELDS, REQUIRED_FIELDS
from jobs.models import IntakeBatch, Role, User
from jobs.pages.access import page_for
from jobs.pages.intake_forms import OUTCOMES, SpreadsheetForm
from jobs.pages.refusals import show_refusal
from jobs.tasks import look_through_intake_batch, take_in_intake_batch

ROWS_A_PAGE = 50
BATCHES_SHOWN = 20


@page_for(Role.PLANNER)
def intake(request: HttpRequest) -> HttpResponse:
    form = SpreadsheetForm(
        request.POST or None, request.FILES or None, company=request.user.company
    )
    if request.method == "POST" and form.is_valid():
        try:
            batch = receive(request, form)
            return redirect("intake_batch", pk=batch.pk)
        except Refused as refusal:
            show_refusal(form, refusal)
    return render(request, "jobs/intake/intake.html", _intake_context(form, request.user))


def _intake_context(form: SpreadsheetForm, user: User) -> dict[str, Any]:
    sent = IntakeBatch.objects.visible_to(user).select_related("scheme", "sent_by")
    return {
        "form": form,
        "batches": sent[:BATCHES_SHOWN],
        "columns": PROPERTY_FIELDS,
        "required": REQUIRED_FIELDS,
        "page_title": "Take in a spreadsheet",
        "page_lead": "One row for each home, as CSV or XLSX. Nothing is taken in before you have "
        "seen what would become of every row.",
    }


def receive(request: HttpRequest, form: SpreadsheetForm) -> IntakeBatch:
    """Store the file; it is looked through as soon as that is committed."""
    upload = form.cleaned_data["file"]
    with transaction.atomic():
        batch = batches.receive_file(
            request.user.company, form.cleaned_data["scheme"], upload, upload.name, request.user
        )
        transaction.on_commit(lambda: look_through_intake_batch.delay(batch.pk))
    return batch


def _batch(request: HttpRequest, pk: int) -> IntakeBatch:
    mine = IntakeBatch.objects.visible_to(request.user).select_related("scheme", "sent_by")
    return get_object_or_404(mine, pk=pk)


@page_for(Role.PLANNER)
def intake_batch(request: HttpRequest, pk: int) -> HttpResponse:
    batch = _batch(request, pk)
    count = batches.tally(batch)
    outcome = request.GET.get("outcome") or ("bad" if count.bad else "")
    rows = batch.rows.select_related("job")
    if outcome in OUTCOMES:
        rows = rows.filter(outcome=outcome)
    context = {
        "batch": batch,
        "tally": count,
        "outcome": outcome,
        "page": Paginator(rows, ROWS_A_PAGE).get_page(request.GET.get("page")),
        "page_title": batch.file_name,
        "page_kicker": f"Spreadsheet for {batch.scheme}",
    }
    return render(request, "jobs/intake/batch.html", context)


@page_for(Role.PLANNER)
def intake_progress(request: HttpRequest, pk: int) -> HttpResponse:
    """How far it is, asked every two seconds; when done, the whole page is shown anew."""
    batch = _batch(request, pk)
    answer = render(request, "jobs/intake/progress.html", {"batch": batch})
    if batch.state not in (IntakeBatch.State.READING, IntakeBatch.State.IMPORTING):
        answer["HX-Refresh"] = "true"
    return answer


@require_POST
@page_for(Role.PLANNER)
def intake_import(request: HttpRequest, pk: int) -> HttpResponse:
    batch = _batch(request, pk)
    try:
        with transaction.atomic():
            batches.begin_import(batch)
            transaction.on_commit(lambda: take_in_intake_batch.delay(batch.pk))
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("intake_batch", pk=batch.pk)


@page_for(Role.PLANNER)
def intake_rejected(request: HttpRequest, pk: int, kind: str) -> HttpResponse:
    batch = _batch(request, pk)
    return _download(
        lambda: files.rejected_rows_file(batch, kind), files.rejected_file_name(batch, kind), kind
    )


@page_for(Role.PLANNER)
def intake_template(request: HttpRequest, kind: str) -> HttpResponse:
    return _download(lambda: files.template_file(kind), f"homes.{kind}", kind)


def _download(make: Callable[[], bytes], name: str, kind: str) -> HttpResponse:
    try:
        content = make()
    except Refused as refusal:
        raise Http404 from refusal
    answer = HttpResponse(content, content_type=files.MEDIA_TYPES[kind])
    answer["Content-Disposition"] = content_disposition_header(True, name) or "attachment"
    return answer


urlpatterns = [
    path("intake/", intake, name="intake"),
    path("intake/template.<str:kind>", intake_template, name="intake_template"),
    path("intake/<int:pk>/", intake_batch, name="intake_batch"),
    path("intake/<int:pk>/progress/", intake_progress, name="intake_progress"),
    path("intake/<int:pk>/import/", intake_import, name="intake_import"),
    path("intake/<int:pk>/to-mend.<str:kind>", intake_rejected, name="intake_rejected"),
]
