"""The installer's phone pages: the day, one visit, and each step of its work."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path, reverse
from django.utils import timezone

from jobs.contact import hide_old_contact
from jobs.errors import Refused
from jobs.evidence.checks import record_pre_start_check
from jobs.evidence.day import days_of, hazards_of
from jobs.evidence.handover import further_visits, take_handover
from jobs.evidence.order_of_work import order_of_work
from jobs.evidence.photos import store_photo
from jobs.evidence.questions import outcome_of
from jobs.evidence.readings import ReadingRow, record_readings
from jobs.evidence.site_record import site_record_of
from jobs.models import LAYING_KINDS, DepthReading, Photo, Role, StopWork, Visit
from jobs.models.phone_records import FROZEN_WORDS
from jobs.pages import converters  # noqa: F401  (registers <photomoment:...>)
from jobs.pages.access import page_for
from jobs.pages.on_site_forms import (
    CorrectionForm,
    HandoverForm,
    PhotosForm,
    PreStartForm,
    ReadingForm,
)
from jobs.pages.on_site_parts import PhotoStep, ReadingsStep, missing_rows, step_url, work_rows
from jobs.pages.refusals import show_refusal
from jobs.surveying.layer_sheets import layer_sheet

REFUSED = 422
STAYS_WHEN_STOPPED = ("visit", "stop", "leave")


def own_visit(request: HttpRequest, pk: int) -> Visit:
    visit = get_object_or_404(Visit.objects.visible_to(request.user).with_job(), pk=pk)
    hide_old_contact([visit])
    return visit


def show(
    request: HttpRequest, template: str, visit: Visit, title: str, **context: Any
) -> HttpResponse:
    """A step's page: back to the visit, and the form as refused where it was.

    Once the visit is stopped a step's page says so in place of itself.
    """
    form = context.get("form")
    if request.method == "GET" and _is_shut(visit, template, context):
        template, context["words"] = "shut", FROZEN_WORDS
    shared = {
        "visit": visit,
        "page_title": title,
        "page_kicker": str(visit.job.property),
        "back_url": reverse("on_site_visit", args=[visit.pk]),
        "back_label": "The visit",
    }
    status = REFUSED if form is not None and form.errors else 200
    return render(request, f"jobs/on_site/{template}.html", {**shared, **context}, status=status)


def _is_shut(visit: Visit, template: str, context: dict[str, Any]) -> bool:
    if visit.status != Visit.Status.STOPPED or template in STAYS_WHEN_STOPPED:
        return False
    return not (template == "photos" and context["step"].moment == Photo.Moment.OTHER)


@page_for(Role.INSTALLER)
def home(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate()
    context = {
        "days": days_of(request.user, today),
        "today": today,
        "page_title": f"{today:%A %-d %B}",
        "page_kicker": "Your visits",
    }
    return render(request, "jobs/on_site/home.html", context)


@page_for(Role.INSTALLER)
def visit_page(request: HttpRequest, pk: int) -> HttpResponse:
    """The order of work with what is done, what is missing, and the one thing that is next."""
    visit = own_visit(request, pk)
    record = site_record_of(visit)
    work = order_of_work(record)
    return show(
        request,
        "visit",
        visit,
        visit.job.property.address_line_1,
        record=record,
        work=work,
        rows=work_rows(record, work),
        next_url=step_url(visit, work.next) if work.next else "",
        hazards=hazards_of([visit.job_id]).get(visit.job_id, ()),
        unsafe=outcome_of(record.check.answers).unsafe if record.check else (),
        stop=StopWork.objects.filter(visit=visit).first(),
        may_stop=visit.status in ("booked", "on_site") and visit.kind in LAYING_KINDS,
        further=further_visits(visit).order_by("during").first(),
        page_kicker=f"{visit.job.reference} · {visit.get_kind_display()}",
        back_url=reverse("on_site"),
        back_label="Your visits",
    )


@page_for(Role.INSTALLER)
def pre_start(request: HttpRequest, pk: int) -> HttpResponse:
    visit = own_visit(request, pk)
    arrival = visit.arrivals.current().last()
    # Asked at the door already; it is not asked twice.
    told = {"loft_empty": "yes"} if arrival and arrival.loft_ready else {}
    form = PreStartForm(request.POST or None, initial=told)
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        try:
            record_pre_start_check(
                visit,
                form.answers,
                request.user,
                given["phone_at"],
                given["note"],
                given["client_key"],
                given["phone_sent_at"],
            )
            return redirect("on_site_visit", pk=pk)
        except Refused as refusal:
            show_refusal(form, refusal)
    return show(request, "pre_start", visit, "Pre-start check", form=form)


@page_for(Role.INSTALLER)
def photos(request: HttpRequest, pk: int, moment: str) -> HttpResponse:
    """The photo points of a moment; without JavaScript the files arrive here by the form."""
    visit = own_visit(request, pk)
    form = PhotosForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid() and _keep_files(request, visit, moment, form):
        return redirect("on_site_photos", pk=pk, moment=moment)
    step = PhotoStep.of(site_record_of(visit), moment)
    return show(request, "photos", visit, step.title, form=form, step=step)


def _keep_files(request: HttpRequest, visit: Visit, moment: str, form: PhotosForm) -> bool:
    """Store each file; a refused one is named and the others stay stored."""
    for file in form.cleaned_data["files"]:
        try:
            photo, created = store_photo(
                visit, moment, form.cleaned_data["point_label"], file, request.user
            )
        except Refused as refusal:
            form.add_error("files", f"{file.name}: {refusal}")
            continue
        messages.success(request, _stored_words(photo, created))
    return not form.errors


def _stored_words(photo: Photo, created: bool) -> str:
    where = f"{photo.get_moment_display().lower()}, {photo.point_label or 'no point'}"
    if created:
        return f"Photo stored at the office ({where})."
    return f"This very photo was stored before ({where}). Nothing is stored twice."


@page_for(Role.INSTALLER)
def layers(request: HttpRequest, pk: int) -> HttpResponse:
    visit = own_visit(request, pk)
    record = site_record_of(visit)
    sheet = layer_sheet(record.plan) if record.plan else None
    return show(request, "layers", visit, "What goes where", record=record, sheet=sheet)


@page_for(Role.INSTALLER)
def readings(request: HttpRequest, pk: int) -> HttpResponse:
    visit = own_visit(request, pk)
    record = site_record_of(visit)
    place = {name: request.GET[name] for name in ("x_mm", "y_mm", "area") if name in request.GET}
    areas = record.survey.areas.all() if record.survey else ()
    form = ReadingForm(request.POST or None, areas=areas, initial=place)
    if request.method == "POST" and form.is_valid():
        reading = _keep_reading(form, visit, request)
        if reading is not None:
            messages.success(request, f"{reading.depth_mm:.0f} mm stored at the office.")
            return redirect("on_site_readings", pk=pk)
    step = ReadingsStep.of(record)
    return show(request, "readings", visit, "Depth readings", form=form, step=step, record=record)


def _keep_reading(
    form: ReadingForm | CorrectionForm, visit: Visit, request: HttpRequest, **corrected: Any
) -> DepthReading | None:
    given = {**form.cleaned_data, **corrected}
    given["measured_at"] = given.pop("phone_at")
    try:
        (reading,) = record_readings(visit, [ReadingRow(**given)], request.user)
    except Refused as refusal:
        show_refusal(form, Refused(str(refusal), field=refusal.field.rpartition(".")[2]))
        return None
    return reading


@page_for(Role.INSTALLER)
def correct_reading(request: HttpRequest, pk: int, reading_pk: int) -> HttpResponse:
    """A reading measured or typed wrongly: a new one with the reason takes its place."""
    visit = own_visit(request, pk)
    reading = get_object_or_404(
        DepthReading.objects.visible_to(request.user).select_related("area"),
        pk=reading_pk,
        visit=visit,
    )
    form = CorrectionForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        place = {"x_mm": reading.x_mm, "y_mm": reading.y_mm, "area": reading.area.name}
        kept = _keep_reading(
            form, visit, request, replaces=reading.pk, allowance=reading.allowance, **place
        )
        if kept is not None:
            messages.success(request, f"Corrected to {kept.depth_mm:.0f} mm at the office.")
            return redirect("on_site_readings", pk=pk)
    context = {"form": form, "reading": reading}
    return show(request, "correct_reading", visit, "Correct a reading", **context)


@page_for(Role.INSTALLER)
def handover(request: HttpRequest, pk: int) -> HttpResponse:
    visit = own_visit(request, pk)
    form = HandoverForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        given["signed_at"] = given.pop("phone_at")
        try:
            take_handover(visit, by=request.user, **given)
            return redirect("on_site_visit", pk=pk)
        except Refused as refusal:
            show_refusal(form, refusal, signature_svg="signed_name")
    record = site_record_of(visit)
    work = order_of_work(record)
    context = {"form": form, "record": record, "work": work, "missing": missing_rows(record, work)}
    return show(request, "handover", visit, "Handover", **context)


VISIT = "on-site/visits/<int:pk>/"
urlpatterns = [
    path("on-site/", home, name="on_site"),
    path(VISIT, visit_page, name="on_site_visit"),
    path(f"{VISIT}check/", pre_start, name="on_site_check"),
    path(f"{VISIT}photos/<photomoment:moment>/", photos, name="on_site_photos"),
    path(f"{VISIT}layers/", layers, name="on_site_layers"),
    path(f"{VISIT}readings/", readings, name="on_site_readings"),
    path(f"{VISIT}readings/<int:reading_pk>/correct/", correct_reading, name="on_site_correct"),
    path(f"{VISIT}handover/", handover, name="on_site_handover"),
]
