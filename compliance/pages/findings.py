"""Findings once released: the company answers with evidence, the auditor accepts or asks again."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Case, IntegerField, QuerySet, Value, When
from django.http import Http404, HttpRequest, HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from compliance.audits.answers import (
    SOON_DAYS,
    answer_finding,
    reply_to_answer,
    standing_of,
    with_standing,
)
from compliance.evidence_access import note_access
from compliance.models import AnswerEvidence, Finding
from compliance.pages.audit_reading_forms import AnswerForm, ReplyForm
from compliance.pages.finding_parts import WITH_ANSWERS, linkable, told_finding
from jobs.errors import Refused
from jobs.evidence.media_types import JPEG
from jobs.models import Role
from jobs.pages.access import page_for
from jobs.pages.photos import NOTHING_RUNS, chunks_for
from jobs.pages.refusals import REFUSED, put_back, show_refusal, tried

PAGE_ROWS = 40
PAGE = "compliance/audits/finding.html"
COPIES = ("display", "thumb")
COMPANY = (Role.COMPLIANCE_OFFICER, Role.PLANNER)
READS = (*COMPANY, Role.AUDITOR)
SHOWN = {
    "": "All",
    "open": "To be answered",
    "late": "Late",
    "soon": f"Due within {SOON_DAYS} days",
    "answered": "Answered",
    "closed": "Closed",
}


@page_for(*READS)
def findings(request: HttpRequest) -> HttpResponse:
    """Findings this person may see: what waits for the company first, earliest due on top."""
    shown = request.GET.get("show", "")
    rows = with_standing(Finding.objects.visible_to(request.user).defects())
    rows = _narrowed(rows, shown).annotate(rank=RANK).order_by("rank", "due_on", "pk")
    rows = rows.select_related("drawn_job__round", "drawn_job__job__property")
    page = Paginator(rows, PAGE_ROWS).get_page(request.GET.get("page"))
    for row in page:
        row.standing = standing_of(row)
    context = {
        "page": page,
        "shown": shown,
        "choices": SHOWN.items(),
        "page_title": "Findings",
        "page_lead": "What auditors found, what was answered, and what was made of it.",
    }
    if request.user.role in COMPANY:
        context["page_actions"] = [
            {"url": reverse("asked_by_auditors"), "label": "Asked by auditors"},
            {"url": reverse("finding_pictures"), "label": "Pictures"},
            {"url": reverse("auditor_openings"), "label": "Opened by auditors"},
        ]
    return render(request, "compliance/audits/findings.html", context)


RANK = Case(
    When(is_closed=True, then=Value(2)),
    When(is_answered=True, then=Value(1)),
    default=Value(0),
    output_field=IntegerField(),
)


def _narrowed(rows: QuerySet[Any], shown: str) -> QuerySet[Any]:
    today = timezone.localdate()
    if shown in ("open", "late", "soon"):
        rows = rows.filter(is_closed=False, is_answered=False)
    if shown == "late":
        rows = rows.filter(due_on__lt=today)
    if shown == "soon":
        rows = rows.filter(due_on__range=(today, today + timedelta(days=SOON_DAYS)))
    if shown == "answered":
        rows = rows.filter(is_closed=False, is_answered=True)
    return rows.filter(is_closed=True) if shown == "closed" else rows


def _finding(request: HttpRequest, pk: int) -> Any:
    rows = with_standing(Finding.objects.visible_to(request.user).defects())
    rows = rows.select_related(
        "found_by", "drawn_job__round", "drawn_job__job__property", "drawn_job__job__company"
    ).prefetch_related(*WITH_ANSWERS)
    return get_object_or_404(rows, pk=pk)


@page_for(*READS)
def finding(request: HttpRequest, pk: int) -> HttpResponse:
    """One finding, all that was said about it, and the form of whoever's turn it is."""
    record = _finding(request, pk)
    job = record.drawn_job.job
    if request.user.role == Role.AUDITOR:
        note_access(job, request.user, f"finding, {record.get_severity_display().lower()}")
    told = told_finding(record)
    form = _answer_form(request, told)
    if request.method == "POST" and form is not None and form.is_valid():
        try:
            answer_finding(record, request.user, **form.cleaned_data)
            messages.success(request, "Answered. The auditor sees it now.")
            return redirect("finding", pk=record.pk)
        except Refused as refusal:
            show_refusal(form, refusal)
    context = _context(request, told, form)
    return render(request, PAGE, put_back(context, **_too_late(request, form)))


def _too_late(request: HttpRequest, form: AnswerForm | None) -> dict[str, AnswerForm]:
    """An answer that another tab or person was quicker with, or that came to a closed finding."""
    if request.method != "POST" or form is not None:
        return {}
    late = AnswerForm(request.POST)
    late.add_error(None, "No answer is due now: this one was not sent. See what was said before.")
    return {"form": late}


def _context(request: HttpRequest, told: Any, form: AnswerForm | None) -> dict[str, Any]:
    record = told.finding
    job = record.drawn_job.job
    return {
        "told": told,
        "form": form,
        "reply_form": ReplyForm() if _may_reply(request, told) else None,
        "page_kicker": f"{job.reference} · {record.drawn_job.round}",
        "page_title": f"{record.get_severity_display()} finding, {job.property}",
    }


def _answer_form(request: HttpRequest, told: Any) -> AnswerForm | None:
    """For the compliance officer, while an answer is due."""
    if request.user.role != Role.COMPLIANCE_OFFICER or told.standing.due_on is None:
        return None
    things = linkable(told.finding.drawn_job.job)
    if request.method == "POST":
        return AnswerForm(request.POST, request.FILES, things=things)
    return AnswerForm(things=things)


def _may_reply(request: HttpRequest, told: Any) -> bool:
    return request.user.role == Role.AUDITOR and told.waits_for_auditor


@require_POST
@page_for(Role.AUDITOR)
def finding_reply(request: HttpRequest, pk: int) -> HttpResponse:
    """The auditor accepts the newest answer, which closes the finding, or says why not."""
    record, form = _finding(request, pk), ReplyForm(request.POST)

    def replied(given: Mapping[str, Any]) -> str:
        word = request.POST.get("word")
        if word not in ("accept", "return"):
            raise Refused("Say whether the answer is accepted, or asked for again.", field="word")
        reply_to_answer(record, request.user, accepted=word == "accept", **given)
        return "Closed." if word == "accept" else "The company is asked again."

    if tried(request, form, replied):
        return redirect("finding", pk=record.pk)
    context = _context(request, told_finding(record), None)
    return render(request, PAGE, put_back(context, reply_form=form), status=REFUSED)


@page_for(*READS)
def answer_file(request: HttpRequest, pk: int) -> HttpResponseBase:
    """A file that came with an answer, as it came, to be saved."""
    record = _file(request, pk)
    ending = record.media_type.rpartition("/")[2]
    answer = _bytes(request, record.stored_name, record.media_type)
    answer["Content-Disposition"] = f'attachment; filename="answer-{record.pk}.{ending}"'
    return answer


@page_for(*READS)
def answer_picture(request: HttpRequest, pk: int, size: str) -> HttpResponseBase:
    """A picture of an answer: a copy without metadata, to show; `original` saves it as it came."""
    if size == "original":
        return answer_file(request, pk)
    record = _file(request, pk)
    looked_at = record.inspections.last()  # type: ignore[attr-defined]
    name = getattr(looked_at, f"{size}_name", "") if size in COPIES else ""
    if not name:
        raise Http404
    return _bytes(request, name, JPEG)


def _file(request: HttpRequest, pk: int) -> AnswerEvidence:
    rows = AnswerEvidence.objects.visible_to(request.user).exclude(sha256="")
    record: AnswerEvidence = get_object_or_404(
        rows.select_related("finding__drawn_job__job"), pk=pk
    )
    if request.user.role == Role.AUDITOR:
        job = record.finding.drawn_job.job
        said = record.finding.get_severity_display().lower()
        note_access(job, request.user, f"file of the answer to a finding, {said}")
    return record


def _bytes(request: HttpRequest, stored_name: str, media_type: str) -> StreamingHttpResponse:
    answer = StreamingHttpResponse(chunks_for(request, stored_name), content_type=media_type)
    answer["X-Content-Type-Options"] = "nosniff"
    answer["Content-Security-Policy"] = NOTHING_RUNS
    answer["Cache-Control"] = "private, no-store"
    return answer


urlpatterns = [
    path("findings/", findings, name="findings"),
    path("findings/<int:pk>/", finding, name="finding"),
    path("findings/<int:pk>/reply/", finding_reply, name="finding_reply"),
    path("findings/files/<int:pk>/", answer_file, name="answer_file"),
    path("findings/files/<int:pk>/<slug:size>/", answer_picture, name="answer_picture"),
]
