"""Reading a drawn job on one page: its evidence, and what is found on it."""

from __future__ import annotations

from http import HTTPStatus

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_POST

from compliance.audits.access import READING, SENT_AHEAD
from compliance.audits.findings import (
    change_draft,
    discard_draft,
    draft_finding,
    release_drafts,
    release_round,
)
from compliance.audits.reading import mark_read, neighbours_of, seen_by
from compliance.audits.things import words_of
from compliance.audits.wordings import DOUBT_CLASS, KINDS, WORDINGS
from compliance.evidence_access import note_access
from compliance.models import AuditRound, DrawnJob, FindingDraft
from compliance.pages.audit_reading_findings import drawn_at, said_of
from compliance.pages.audit_reading_forms import FindingForm
from compliance.pages.audit_reading_parts import job_page
from jobs.errors import Refused
from jobs.models import Role
from jobs.numbers import whole_number
from jobs.pages.access import page_for
from jobs.pages.refusals import REFUSED, put_back, show_refusal

DRAFT_GONE = "That draft is gone: it was released, or discarded in another tab."


@page_for(Role.AUDITOR)
def drawn_job(request: HttpRequest, pk: int) -> HttpResponse:
    """Everything of a drawn job on one page; `?point=P2` frames that photo point.

    With `?ahead` a script fetches it to be at hand; it is logged as no more than that.
    """
    drawn = drawn_at(request, pk)
    is_ahead = "ahead" in request.GET and request.headers.get("Sec-Fetch-Mode") != "navigate"
    note_access(drawn.job, request.user, SENT_AHEAD if is_ahead else READING)
    return _page(request, drawn)


def _page(request: HttpRequest, drawn: DrawnJob, form: FindingForm | None = None) -> HttpResponse:
    page, point = job_page(drawn, request.user, request.GET.get("point")), request.GET.get("point")
    things = list(page.things())
    fresh = FindingForm(initial={"concerns": request.GET.get("about", "")}, things=things)
    context = {
        "drawn": drawn,
        "job": drawn.job,
        "read": page,
        "point": point,
        "form": fresh if drawn.round.state == AuditRound.State.DRAWN else None,
        "neighbours": neighbours_of(drawn),
        "seen": sorted(seen_by(drawn, request.user)),  # type: ignore[arg-type]
        "wordings": WORDINGS,
        "kinds_of_wordings": KINDS,
        "doubt_class": DOUBT_CLASS,
        "page_title": f"{drawn.job.reference}, {drawn.job.property.address}",
        **said_of(drawn, dict(things)),
    }
    if form is not None:
        form.fields["concerns"].widget.choices = things
        put_back(context, form=form)
    status = REFUSED if form is not None else HTTPStatus.OK
    return render(request, "compliance/audits/reading.html", context, status=status)


@require_POST
@page_for(Role.AUDITOR)
def draft_new(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep a finding as a draft. htmx gets the list of findings back, and what was refused."""
    drawn, form = drawn_at(request, pk), FindingForm(request.POST)
    if form.is_valid():
        try:
            draft_finding(drawn, request.user, **form.cleaned_data)
        except Refused as refusal:
            show_refusal(form, refusal)
    if request.headers.get("HX-Request"):
        context = said_of(drawn) | {"refused": form.errors}
        return render(request, "compliance/audits/reading_findings.html", context)
    if form.errors:
        return _page(request, drawn, form)
    return redirect(f"{reverse('drawn_job', args=[drawn.pk])}#findings")


@page_for(Role.AUDITOR)
def draft(request: HttpRequest, pk: int) -> HttpResponse:
    """A draft, to be written anew."""
    record = _draft_of(request, pk)
    if record is None:
        return _gone_from(request)
    job = record.drawn_job.job
    things = [(record.concerns, words_of(job, record.concerns) or record.concerns)]
    things += [("", "The job as a whole")] if record.concerns else []
    values = {name: getattr(record, name) for name in ("severity", "concerns", "text")}
    form = FindingForm(request.POST or None, initial=values, things=things)
    if request.method == "POST" and form.is_valid():
        try:
            change_draft(record, **form.cleaned_data)
            return redirect(f"{reverse('drawn_job', args=[record.drawn_job_id])}#findings")
        except Refused as refusal:
            show_refusal(form, refusal)
    context = {"draft": record, "form": form, "page_title": "Write a draft anew"}
    context["page_kicker"] = f"{job.reference} · {record.drawn_job.round}"
    return render(request, "compliance/audits/draft.html", context)


def _draft_of(request: HttpRequest, pk: int) -> FindingDraft | None:
    drafts = FindingDraft.objects.visible_to(request.user).select_related(
        "drawn_job__round", "drawn_job__job__property", "drawn_job__job__company"
    )
    return drafts.filter(pk=pk).first()


def _gone_from(request: HttpRequest) -> HttpResponse:
    """The findings of the job that the draft was on, with what was typed to be kept as another; a
    404 where the asker may not see that job."""
    given = request.GET.get("of", "")
    drawn = drawn_at(request, whole_number(given) or 0)
    if "text" in request.POST:
        form = FindingForm(request.POST)
        form.add_error(None, f"{DRAFT_GONE} What you typed can be kept as a draft of its own.")
        return _page(request, drawn, form)
    messages.error(request, DRAFT_GONE)
    return redirect(f"{reverse('drawn_job', args=[drawn.pk])}#findings")


@require_POST
@page_for(Role.AUDITOR)
def draft_discard(request: HttpRequest, pk: int) -> HttpResponse:
    record = _draft_of(request, pk)
    if record is None:
        return _gone_from(request)
    drawn_id = record.drawn_job_id
    discard_draft(record)
    messages.success(request, "The draft is gone. Nobody else has seen it.")
    return redirect(f"{reverse('drawn_job', args=[drawn_id])}#findings")


@require_POST
@page_for(Role.AUDITOR)
def drafts_release(request: HttpRequest, pk: int) -> HttpResponse:
    """Release the drafts of a job: the company sees them from now on."""
    drawn = drawn_at(request, pk)
    try:
        found = release_drafts(drawn, request.user)
        messages.success(request, f"Released: {len(found)}. The company sees them now.")
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect(f"{reverse('drawn_job', args=[drawn.pk])}#findings")


@require_POST
@page_for(Role.AUDITOR)
def round_release(request: HttpRequest, pk: int) -> HttpResponse:
    """Release all drafts of a round together."""
    record = get_object_or_404(AuditRound.objects.visible_to(request.user), pk=pk)
    try:
        found = release_round(record, request.user)
        messages.success(request, f"Released: {len(found)}. The company sees them now.")
    except Refused as refusal:
        messages.error(request, str(refusal))
    return redirect("audit_round", pk=record.pk)


@require_POST
@page_for(Role.AUDITOR)
def job_read(request: HttpRequest, pk: int) -> HttpResponse:
    """Mark a job as read, and go on to the next that nobody has read.

    A script that shows the next page already asks for JSON, and is told whether it was taken.
    """
    drawn, asks = drawn_at(request, pk), request.headers.get("Accept") == "application/json"
    try:
        mark_read(drawn, request.user)
    except Refused as refusal:
        if asks:
            return JsonResponse({"refused": str(refusal)}, status=HTTPStatus.CONFLICT)
        messages.error(request, str(refusal))
        return redirect("drawn_job", pk=drawn.pk)
    return JsonResponse({"refused": ""}) if asks else _onward(request, drawn)


def _onward(request: HttpRequest, drawn: DrawnJob) -> HttpResponse:
    onward = neighbours_of(drawn).next_unread
    if onward is None:
        waiting = FindingDraft.objects.filter(drawn_job__round=drawn.round_id).count()
        release = f" Findings that are not released yet: {waiting}." if waiting else ""
        messages.success(request, f"Every drawn job of this round is read.{release}")
        return redirect("audit_round", pk=drawn.round_id)
    messages.success(request, f"{drawn.job.reference} is read. This is the next.")
    return redirect("drawn_job", pk=onward)


urlpatterns = [
    path("audit/drawn/<int:pk>/", drawn_job, name="drawn_job"),
    path("audit/drawn/<int:pk>/draft/", draft_new, name="finding_draft_new"),
    path("audit/drawn/<int:pk>/release/", drafts_release, name="drafts_release"),
    path("audit/drawn/<int:pk>/read/", job_read, name="job_read"),
    path("audit/drafts/<int:pk>/", draft, name="finding_draft"),
    path("audit/drafts/<int:pk>/discard/", draft_discard, name="finding_draft_discard"),
    path("audit/rounds/<int:pk>/release/", round_release, name="round_release"),
]
