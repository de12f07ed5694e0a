"""The surveyor's pages: what is to be surveyed, and the form that draws the loft as it is typed."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone

from jobs.errors import Conflict, Refused
from jobs.models import Job, Role, Stage, Survey
from jobs.numbers import whole_number
from jobs.pages.access import page_for
from jobs.pages.survey_forms import SurveySheet
from jobs.surveying.records import (
    complete_survey,
    draft_or_blank,
    problems_of,
    save_draft,
    start_survey,
)
from jobs.surveying.sketches import sketch_of, sketch_of_source, sketch_of_stored
from jobs.surveying.worklist import survey_worklist

SURVEYS = (Role.SURVEYOR, Role.PLANNER)
READS = (Role.SURVEYOR, Role.PLANNER, Role.COMPLIANCE_OFFICER, Role.AUDITOR, Role.INSTALLER)


@page_for(*SURVEYS)
def survey_home(request: HttpRequest) -> HttpResponse:
    """Surveyor's home: visits of the day, drafts to finish, jobs nobody has surveyed."""
    return render(
        request,
        "jobs/surveys/home.html",
        {"worklist": survey_worklist(request.user, timezone.localdate()), "page_title": "Survey"},
    )


@page_for(*SURVEYS)
def survey_form(request: HttpRequest, pk: int) -> HttpResponse:
    """The job's draft: shown, saved, or finished (`do` = save or finish)."""
    job = get_object_or_404(Job.objects.visible_to(request.user).with_place(), pk=pk)
    posted = request.POST if request.method == "POST" else None
    try:
        draft, source = draft_or_blank(job, request.user, timezone.localdate())
    except Conflict as refusal:
        if posted is None:
            messages.error(request, str(refusal))
            return redirect("job", pk=job.pk)
        return _show(request, job, _too_late(job, request, refusal))
    sheet = SurveySheet(draft, source, posted)
    try:
        if posted is not None and sheet.is_valid():
            return _keep(request, job, sheet)
    except Refused as refusal:
        sheet.form.add_error(None, str(refusal))
    return _show(request, job, sheet)


def _too_late(job: Job, request: HttpRequest, refusal: Refused) -> SurveySheet:
    """What was measured while the job went on past surveying, to be read and noted elsewhere."""
    never = Survey(job=job, surveyed_by=request.user, surveyed_on=timezone.localdate())
    sheet = SurveySheet(never, None, request.POST)
    sheet.form.add_error(None, str(refusal))
    return sheet


def _keep(request: HttpRequest, job: Job, sheet: SurveySheet) -> HttpResponse:
    """Save, and finish if asked."""
    draft = start_survey(job, request.user, timezone.localdate())
    version = whole_number(request.POST.get("version", ""))
    saved = save_draft(
        draft, sheet.measured(), version=draft.version if version is None else version
    )
    if request.POST.get("do") == "finish":
        complete_survey(saved, request.user)
        messages.success(request, f"The survey of {job.reference} is finished.")
        return redirect("job", pk=job.pk)
    messages.success(request, "Saved. Nothing typed so far is lost.")
    return redirect("survey_form", pk=job.pk)


def _show(request: HttpRequest, job: Job, sheet: SurveySheet) -> HttpResponse:
    stored = job.surveys.filter(completed_at__isnull=True).first()
    return render(
        request,
        "jobs/surveys/form.html",
        {
            "job": job,
            "version": stored.version if stored else Survey.FIRST_VERSION,
            "sheet": sheet,
            "sketch": sketch_of(sheet) if sheet.form.is_bound else sketch_of_source(sheet),
            "page_kicker": job.reference,
            "page_title": f"Survey of {job.property.address_line_1}",
        },
        status=422 if sheet.form.is_bound else 200,
    )


@page_for(*SURVEYS)
def survey_sketch(request: HttpRequest, pk: int) -> HttpResponse:
    """The loft as typed so far, and what is missing. Saves nothing."""
    job = get_object_or_404(Job.objects.visible_to(request.user).with_place(), pk=pk)
    try:
        draft, source = draft_or_blank(job, request.user, timezone.localdate())
    except Conflict:  # the job went on while this was on its way
        return HttpResponse(status=204)
    sketch = sketch_of(SurveySheet(draft, source, request.POST))
    return render(request, "jobs/surveys/sketch.html", {"sketch": sketch})


@page_for(*READS)
def survey(request: HttpRequest, pk: int) -> HttpResponse:
    """A stored survey, to read and to print."""
    record = get_object_or_404(
        Survey.objects.visible_to(request.user)
        .with_measurements()
        .select_related("job__property", "surveyed_by"),
        pk=pk,
    )
    return render(
        request,
        "jobs/surveys/survey.html",
        {
            "survey": record,
            "sketch": sketch_of_stored(record),
            "problems": problems_of(record),
            "page_kicker": record.job.reference,
            "page_title": f"Survey of {record.surveyed_on:%-d %b %Y}",
            "may_measure_again": request.user.role in SURVEYS
            and record.job.stage in (Stage.TO_QUANTIFY, Stage.TO_PLAN),
        },
    )


urlpatterns = [
    path("survey/", survey_home, name="survey_home"),
    path("jobs/<int:pk>/survey/", survey_form, name="survey_form"),
    path("jobs/<int:pk>/survey/sketch/", survey_sketch, name="survey_sketch"),
    path("surveys/<int:pk>/", survey, name="survey"),
]
