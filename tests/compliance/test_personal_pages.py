"""Personal data on pages: what is held, taking it away, retention periods, who opened what."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.core.files.storage import default_storage
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from rest_framework.test import APIClient

from compliance import tasks
from compliance.models import Erasure, ErasureRequest, EvidenceAccess, RetentionPeriod
from compliance.personal.kinds import KINDS
from compliance.personal.retention import (
    due_jobs,
    keep_retention_periods,
    months_after,
    periods_of,
    set_period,
)
from jobs.errors import Refused
from jobs.evidence.content_store import keep
from jobs.models import IntakeBatch, IntakeRow, Job, Property, User, Visit
from tests.compliance.pack_scene import stored_photo
from tests.compliance.scene import Scene, certified_scene
from tests.factories import VisitFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def scene() -> Scene:
    scene, _ = certified_scene(photo=stored_photo)
    Property.objects.filter(pk=scene.job.property_id).update(
        householder_name="=Invented Person", householder_phone="0300 000000"
    )
    return scene


def signed_in(client: Client, person: User) -> User:
    client.force_login(person)
    return person


def closed_days_ago(scene: Scene, days: int) -> None:
    Job.objects.filter(pk=scene.job.pk).update(stage_since=timezone.now() - timedelta(days=days))


# --- Taking it away


def test_all_that_is_held_on_a_household_is_taken_away_in_one_file(client: Client, scene: Scene):
    officer = signed_in(client, scene.person("compliance_officer"))

    answer = client.get(reverse("personal_export", args=[scene.job.pk]))
    with zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content))) as held:
        assert held.testzip() is None
        names = held.namelist()
        said = json.loads(held.read("household.json"))
        readable = held.read("household.html").decode()
        home = next(csv.DictReader(io.StringIO(held.read("tables/home.csv").decode("utf-8-sig"))))

    assert sum(name.startswith("photos/") for name in names) == 4
    assert said["household"] == scene.job.property.reference
    assert said["handovers"][0]["signed_name"] in readable
    assert home["householder_name"] == "'=Invented Person"
    assert str(scene.installer) not in readable
    assert officer.email not in readable
    assert said["depth_readings"][0]["measured_by"] == "installer"
    opened = EvidenceAccess.objects.filter(job=scene.job, person=officer)
    assert "export" in opened.latest("pk").what


# --- Retention


def test_a_period_keeps_to_its_limits_which_name_their_sources(scene: Scene):
    officer = scene.person("compliance_officer")
    for kind in KINDS:
        for months in (kind.least_months - 1, kind.most_months + 1):
            with pytest.raises(Refused, match="Not shorter: .* Not longer: "):
                set_period(scene.company, kind.code, months, officer)
        assert set_period(scene.company, kind.code, kind.most_months, officer).months
    with pytest.raises(Refused, match="no such kind"):
        set_period(scene.company, "shoe sizes", 12, officer)
    with pytest.raises(Refused, match="Only a compliance officer"):
        set_period(scene.company, "contact", 12, scene.person("planner"))
    with pytest.raises(Exception, match="retention_within_its_limits"):
        RetentionPeriod.objects.filter(kind="photos").update(months=1)


MONTHS = [
    (date(2026, 1, 31), 1, date(2026, 2, 28), "the last day of a shorter month"),
    (date(2024, 2, 29), 12, date(2025, 2, 28), "a leap day a year later"),
    (date(2026, 3, 15), -24, date(2024, 3, 15), "two years back"),
    (date(2026, 11, 30), 3, date(2027, 2, 28), "over the turn of the year"),
]


@pytest.mark.parametrize(("day", "months", "expected", "why"), MONTHS, ids=[m[3] for m in MONTHS])
def test_months_are_counted_by_the_calendar(day: date, months: int, expected: date, why: str):
    assert months_after(day, months) == expected


def test_what_is_past_its_period_is_erased_by_night_and_shown_before(client: Client, scene: Scene):
    signed_in(client, scene.person("compliance_officer"))
    closed_days_ago(scene, 720)
    today = timezone.localdate()
    contact = periods_of(scene.company)[0]

    assert keep_retention_periods(today) == 0
    page = client.get(reverse("retention")).content.decode()
    assert scene.job.reference in page

    assert keep_retention_periods(today + timedelta(days=20)) == 1
    assert keep_retention_periods(today + timedelta(days=20)) == 0
    erasure = Erasure.objects.get()
    assert (erasure.because, erasure.asked_by, erasure.kinds) == ("retention", None, ["contact"])
    assert "kept 2 years" in erasure.reason
    assert not due_jobs(contact, scene.company, today + timedelta(days=999)).exists()


def test_spreadsheets_are_forgotten_with_the_contacts_in_them(scene: Scene):
    """Also rows that were never taken in, which belong to no job."""
    sender = scene.person("planner")
    kept = keep(io.BytesIO(b"Invented Person;0300 000000"), "intake", limit_bytes=1000)
    batch = IntakeBatch.objects.create(
        company=scene.company, scheme=scene.job.scheme, file_name="homes.csv",
        stored_name=kept.name, sha256=kept.sha256, state="preview", sent_by=sender,
    )  # fmt: skip
    said = {"householder_name": "Invented Person"}
    IntakeRow.objects.create(
        batch=batch, number=1, values=said, outcome="bad", problems=[{"message": "Invented"}]
    )
    today = timezone.localdate()

    keep_retention_periods(months_after(today, 23))
    assert default_storage.exists(kept.name)

    keep_retention_periods(months_after(today, 24))
    tasks.remove_erased_bytes()
    row, batch = IntakeRow.objects.get(batch=batch), IntakeBatch.objects.get(pk=batch.pk)
    assert (row.values, row.problems) == ({"householder_name": "[erased]"}, [])
    assert (batch.state, batch.stored_name) == ("refused", "")
    assert not default_storage.exists(kept.name)


def test_evidence_past_its_period_waits_for_a_person_while_its_certificate_is_valid(scene: Scene):
    closed_days_ago(scene, 366 * 16)

    tasks.keep_retention_periods()
    tasks.keep_retention_periods()

    request = ErasureRequest.objects.get()
    assert (request.because, request.asked_by) == ("retention", None)
    assert scene.job.photos.filter(inspections__inspector_version="erased").count() == 0


# --- Pages


def test_one_asks_and_another_agrees_on_the_page(
    client: Client, scene: Scene, django_capture_on_commit_callbacks: Callable[..., Any]
):
    url = reverse("personal_data", args=[scene.job.pk])
    signed_in(client, scene.person("compliance_officer"))
    given = {"kinds": ["photos"], "reason": "Asked by letter"}
    client.post(reverse("erase", args=[scene.job.pk]), given)
    assert "Another compliance officer" in client.get(url).content.decode()

    signed_in(client, scene.person("compliance_officer"))
    assert "Agree, and erase" in client.get(url).content.decode()
    with django_capture_on_commit_callbacks(execute=True):
        client.post(reverse("erasure_answer", args=[scene.job.pk]), {"decision": "agree"})

    assert "photos" in client.get(url).content.decode()
    photo = scene.job.photos.first()
    gone = client.get(reverse("photo", args=[photo.pk, "original"]))
    assert gone.status_code == 410
    assert photo.sha256 in gone.content.decode()


def test_an_erasure_of_nothing_keeps_the_reason_that_was_typed(client: Client, scene: Scene):
    signed_in(client, scene.person("compliance_officer"))

    given = {"reason": "Asked by letter of 3 May"}
    page = client.post(reverse("erase", args=[scene.job.pk]), given).content.decode()

    assert "Choose at least one kind." in page
    assert given["reason"] in page
    assert not ErasureRequest.objects.exists()


def test_a_refused_period_comes_back_beside_its_kind(client: Client, scene: Scene):
    signed_in(client, scene.person("compliance_officer"))

    answer = client.post(reverse("retention"), {"kind": "photos", "months": "7"})

    forms = {row["period"].kind.code: row["form"] for row in answer.context["periods"]}
    assert answer.status_code == 422
    assert forms["photos"]["months"].value() == "7"
    assert forms["photos"].errors["months"] == ["At least 72: enter more."]
    assert not any(form.errors for kind, form in forms.items() if kind != "photos")
    assert not RetentionPeriod.objects.exists()
    unknown = client.post(reverse("retention"), {"kind": "shoes", "months": "13"})
    assert "no such kind of data" in unknown.content.decode().partition("<h1>")[0]


def test_what_a_page_has_no_form_for_any_more_is_left_to_be_copied(client: Client, scene: Scene):
    signed_in(client, scene.person("compliance_officer"))
    url, given = reverse("legal_hold", args=[scene.job.pk]), {"hold-reason": "claim about damp"}
    client.post(url, given)

    page = client.post(url, {"hold-reason": "claim about the hatch"}).content.decode()

    told = page.partition("<h1>")[0]
    assert "on hold already" in told
    assert "claim about the hatch" in told


def test_the_second_person_is_told_of_a_hold_placed_since_it_was_asked(
    client: Client, scene: Scene
):
    signed_in(client, scene.person("compliance_officer"))
    given = {"kinds": ["photos"], "reason": "Asked by letter"}
    client.post(reverse("erase", args=[scene.job.pk]), given)
    client.post(reverse("legal_hold", args=[scene.job.pk]), {"hold-reason": "claim about damp"})

    signed_in(client, scene.person("compliance_officer"))
    page = client.get(reverse("personal_data", args=[scene.job.pk])).content.decode()

    assert "A legal hold stands since" in page.partition("Agree, and erase")[0]


# --- Who opened what, who sees what


def test_every_opening_of_evidence_is_on_record_and_can_be_read(client: Client, scene: Scene):
    planner = signed_in(client, scene.person("planner"))
    photo = scene.job.photos.first()
    client.get(reverse("photo", args=[photo.pk, "original"]))
    client.get(reverse("job", args=[scene.job.pk]))
    client.get(reverse("job_compare", args=[scene.job.pk]))
    api = APIClient()
    api.force_authenticate(planner)
    api.get(reverse("api_depth_reading-list"))
    api.get(reverse("api_handover-detail", args=[scene.visit.handovers.get().pk]))

    said = set(EvidenceAccess.objects.filter(person=planner).values_list("what", flat=True))
    assert {
        f"photo {photo.pk}, the original",
        "the job’s page",
        "before and after",
        "depth readings over the API",
    } <= said
    assert any(what.startswith("handover ") for what in said)
    signed_in(client, scene.person("compliance_officer"))
    page = client.get(reverse("openings", args=[scene.job.pk])).content.decode()
    assert f"photo {photo.pk}, the original" in page
    assert str(planner) in page


SEES_PHONE = [
    ("planner", True, "calls the household"),
    ("compliance_officer", True, "sees to what is short"),
    ("surveyor", False, "the loft was surveyed long ago"),
    ("installer", False, "its visit was weeks ago"),
    ("booked installer", True, "its crew is booked there"),
]


@pytest.mark.parametrize(("role", "sees", "why"), SEES_PHONE, ids=[row[2] for row in SEES_PHONE])
def test_a_phone_number_is_told_to_whoever_has_to_call(
    scene: Scene, role: str, sees: bool, why: str
):
    person = scene.installer if "installer" in role else scene.person(role)
    weeks_ago = timezone.now() - timedelta(days=40)
    Visit.objects.update(during=(weeks_ago, weeks_ago + timedelta(hours=4)))
    if role == "booked installer":
        start = timezone.now() + timedelta(days=1)
        VisitFactory(
            job=scene.job, crew=scene.visit.crew, during=(start, start + timedelta(hours=2))
        )
    api = APIClient()
    api.force_authenticate(person)

    told = api.get(reverse("api_property-detail", args=[scene.job.property_id])).json()

    assert (told["householder_phone"] == "0300 000000") is sees


def test_names_and_signatures_are_kept_from_surveyors(scene: Scene):
    api = APIClient()
    api.force_authenticate(scene.person("surveyor"))

    told = api.get(reverse("api_handover-list")).json()["results"][0]

    assert (told["signed_name"], told["signature_svg"]) == (None, None)
