"""The installer's pages: the day, the visit's next step, and each step of the work."""

from __future__ import annotations

import re
from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.urls import reverse
from django.utils import timezone

from jobs.evidence.cautions import CAUTIONS
from jobs.evidence.handover import take_handover
from jobs.evidence.inspection import inspect
from jobs.evidence.readings import ReadingRow, record_readings
from jobs.evidence.stopping import stop_work
from jobs.models import DepthReading, Handover, Hazard, Photo, PreStartCheck, Visit
from jobs.pages.registry import attention_for, home_of
from jobs.templatetags.eavesbook import whole_postcode
from tests.compliance.audited import let_auditors_see
from tests.factories import HandoverFactory, PreStartCheckFactory, UserFactory, VisitFactory
from tests.jobs.on_site_scene import (
    ALL_CLEAR,
    ALL_SAFE,
    ARRIVED,
    LAYING_CALLS,
    Scene,
    arrived,
    booked_scene,
    scene_on_site,
    step_done,
    stored,
)
from tests.pictures import blurred, loft_jpeg

pytestmark = pytest.mark.django_db

KEY = "4f0b1f6e-5c0f-4d60-9d5b-6f6d1f8f5a11"
STEPS = (
    "on_site_arrival",
    "on_site_check",
    "on_site_stop",
    "on_site_layers",
    "on_site_readings",
    "on_site_variations",
    "on_site_handover",
    "on_site_leave",
)


def today_at(hour: int, days: int = 0) -> DateTimeTZRange:
    start = timezone.localtime().replace(hour=hour, minute=0, second=0, microsecond=0)
    start += timedelta(days=days)
    return DateTimeTZRange(start, start + timedelta(hours=3))


def page(client, scene: Scene, name: str, *more) -> str:
    client.force_login(scene.installer)
    response = client.get(reverse(name, args=[scene.visit.pk, *more]))
    assert response.status_code == 200
    return response.content.decode()


def post(client, scene: Scene, name: str, data: dict, *more):
    client.force_login(scene.installer)
    return client.post(reverse(name, args=[scene.visit.pk, *more]), data)


def big_button(html: str) -> str:
    bar = html.partition('id="action-bar"')[2]
    return " ".join(re.sub(r"<[^>]+>", " ", bar.partition("</div>")[0].partition(">")[2]).split())


# --- The day


def test_the_installer_starts_on_the_day(client):
    scene = booked_scene(during=today_at(9))
    client.force_login(scene.installer)

    assert home_of(scene.installer) == "on_site"
    assert client.get("/").url == reverse("on_site")


def test_the_day_shows_where_when_how_to_get_in_and_what_the_survey_warns_of(client):
    scene = booked_scene(during=today_at(9), note="Ring first")
    Hazard.objects.create(survey=scene.survey, kind="fragile_ceiling", note="over the landing")
    home = scene.job.property
    home.access_notes = "Key at number 14"
    home.save()
    client.force_login(scene.installer)

    html = client.get(reverse("on_site")).content.decode()

    for words in (
        "09:00–12:00",
        whole_postcode(home.address),
        "Key at number 14",
        "Ring first",
        "Fragile ceiling: over the landing",
        reverse("load_list", args=[scene.visit.crew_id, timezone.localdate()]),
    ):
        assert words in html
    assert big_button(html) == f"Go: {home.address_line_1}"


def test_next_days_follow_and_days_gone_by_are_told(client):
    scene = booked_scene(during=today_at(9, days=2))
    VisitFactory(job=scene.job, crew=scene.visit.crew, during=today_at(9, days=-3))
    VisitFactory(job=scene.job, crew=scene.visit.crew, during=today_at(9, days=-4), status="done")
    VisitFactory(job=scene.job, crew=scene.visit.crew, during=today_at(9, days=9))
    client.force_login(scene.installer)

    html = client.get(reverse("on_site")).content.decode()

    assert "Nothing is booked for your crew today" in html
    assert "Never begun" in html
    assert html.count('class="visit-link"') == 2


def test_another_crews_visits_are_not_shown(client):
    VisitFactory(during=today_at(9))
    client.force_login(UserFactory(role="installer"))

    assert 'class="visit-link"' not in client.get(reverse("on_site")).content.decode()


def test_the_day_costs_the_same_however_full(client, django_assert_max_num_queries):
    scene = booked_scene(during=today_at(8))
    for hour in (11, 14, 17, 20):
        VisitFactory(job=scene.job, crew=scene.visit.crew, during=today_at(hour))
    client.force_login(scene.installer)

    with django_assert_max_num_queries(7):
        client.get(reverse("on_site"))


# --- The visit


def test_a_visit_leads_from_step_to_step(client):
    scene = booked_scene()
    assert big_button(page(client, scene, "on_site_visit")) == "We are here"

    post(client, scene, "on_site_arrival", arrived(scene))
    assert big_button(page(client, scene, "on_site_visit")) == "Start the pre-start check"

    post(client, scene, "on_site_check", {**ALL_SAFE, "client_key": KEY})
    assert big_button(page(client, scene, "on_site_visit")) == "Take the before photos"

    labels = re.findall(r'data-point="(P\d+)"', page(client, scene, "on_site_photos", "before"))
    for number, label in enumerate(labels):
        stored(scene, loft_jpeg(number), point_label=label)

    for step, call in LAYING_CALLS.items():
        assert big_button(page(client, scene, "on_site_visit")) == call
        post(client, scene, "on_site_step", step_done(step), step)
    assert big_button(page(client, scene, "on_site_visit")) == "Take the after photos"

    labels = re.findall(r'data-point="(P\d+)"', page(client, scene, "on_site_photos", "after"))
    for number, label in enumerate(labels):
        stored(scene, loft_jpeg(number, moment="after"), moment="after", point_label=label)
    assert big_button(page(client, scene, "on_site_visit")) == "Measure the depth"

    while places := re.findall(
        r'data-x="(\d+)" data-y="(\d+)"', page(client, scene, "on_site_readings")
    ):
        rows = [
            ReadingRow(x_mm=float(x), y_mm=float(y), depth_mm=285, measured_at=ARRIVED)
            for x, y in places
        ]
        record_readings(scene.visit, rows, scene.installer)
    assert big_button(page(client, scene, "on_site_visit")) == "Hand over"

    take_handover(
        scene.visit,
        signed_name="A. Householder",
        signature_svg="",
        name_confirmed=True,
        cautions_given=[caution.code for caution in CAUTIONS],
        by=scene.installer,
        signed_at=timezone.now(),
    )
    assert big_button(page(client, scene, "on_site_visit")) == "Leave the home"
    post(client, scene, "on_site_leave", {**ALL_CLEAR, "client_key": uuid4()})
    assert big_button(page(client, scene, "on_site_visit")) == "Back to your visits"


def test_what_is_missing_is_named(client):
    scene = scene_on_site()
    PreStartCheckFactory(visit=scene.visit, answers=ALL_SAFE)

    html = page(client, scene, "on_site_visit")

    assert re.search(r"\d+ of \d+ points missing \(P1, P2", html)
    assert re.search(r"0 stored, \d+ more wanted", html)


def test_a_visit_costs_the_same_however_much_was_sent(client, django_assert_max_num_queries):
    scene = scene_on_site()
    for seed in range(4):
        inspect(stored(scene, loft_jpeg(seed)))
    client.force_login(scene.installer)

    with django_assert_max_num_queries(25):
        client.get(reverse("on_site_visit", args=[scene.visit.pk]))


def test_a_survey_visit_has_no_order_of_work(client):
    html = page(client, booked_scene(kind="survey"), "on_site_visit")

    assert "Order of work" not in html
    assert big_button(html) == ""


@pytest.mark.parametrize("name", ["on_site_visit", *STEPS])
@pytest.mark.parametrize("role", ["planner", "surveyor", "auditor", "platform_admin"])
def test_other_roles_find_no_on_site_page(client, name, role):
    scene = booked_scene()
    who = {"scheme": scene.job.scheme} if role == "auditor" else {}
    if role in ("planner", "surveyor"):
        who = {"company": scene.job.company}
    client.force_login(UserFactory(role=role, **who))

    assert client.get(reverse(name, args=[scene.visit.pk])).status_code == 404


@pytest.mark.parametrize("name", ["on_site_visit", *STEPS])
def test_another_crews_visit_is_not_there(client, name):
    scene = booked_scene()
    client.force_login(UserFactory(role="installer", company=scene.job.company))

    assert client.get(reverse(name, args=[scene.visit.pk])).status_code == 404
    assert client.get(reverse(name, args=[10**9])).status_code == 404


def test_leaving_is_not_done_by_a_link(client):
    scene = scene_on_site()

    page(client, scene, "on_site_leave")

    scene.visit.refresh_from_db()
    assert scene.visit.status == "on_site"


# --- The pre-start check and stopping


def test_a_hazard_stops_the_visit_and_says_whom_to_tell(client):
    scene = booked_scene()
    answers = {**ALL_SAFE, "asbestos": "yes", "note": "grey lagging", "client_key": KEY}

    post(client, scene, "on_site_check", answers)

    html = page(client, scene, "on_site_visit")
    assert "Work is stopped" in html
    assert "grey lagging" in html
    assert "licensed asbestos contractor" in html
    assert big_button(html) == "Leave the home"


def test_what_can_be_mended_is_told_and_checked_again(client):
    scene = booked_scene()

    post(client, scene, "on_site_check", {**ALL_SAFE, "boards": "no", "client_key": KEY})

    html = page(client, scene, "on_site_visit")
    assert "Not safe to start yet" in html
    assert big_button(html) == "Check again"


def test_an_open_question_is_named_and_the_other_answers_stay(client):
    scene = booked_scene()
    answers = {code: answer for code, answer in ALL_SAFE.items() if code != "ppe"}

    response = post(client, scene, "on_site_check", {**answers, "client_key": KEY})

    assert response.status_code == 422
    html = response.content.decode()
    assert "Answer this one too." in html
    assert html.count(" checked") == len(answers)
    assert not PreStartCheck.objects.exists()


def test_the_phones_clock_is_kept_as_the_phones_word(client):
    scene = booked_scene()

    post(
        client,
        scene,
        "on_site_check",
        {**ALL_SAFE, "client_key": KEY, "phone_at": "2026-11-30T08:03:00Z"},
    )

    check = PreStartCheck.objects.get()
    assert check.checked_at.isoformat() == "2026-11-30T08:03:00+00:00"
    assert check.received_at != check.checked_at


@pytest.mark.parametrize("said", ["", "soon", "2026-11-30T08:03:00", "2026-99-99T00:00:00Z"])
def test_a_clock_that_says_nothing_is_replaced_by_ours(client, said):
    scene = booked_scene()
    before = timezone.now()

    post(client, scene, "on_site_check", {**ALL_SAFE, "client_key": KEY, "phone_at": said})

    assert before <= PreStartCheck.objects.get().checked_at <= timezone.now()


def test_stopping_work_reaches_the_planner(client):
    scene = scene_on_site()
    planner = UserFactory(company=scene.job.company)

    post(client, scene, "on_site_stop", {"stop_reason": "wasps", "client_key": KEY})

    scene.visit.refresh_from_db()
    assert (scene.visit.status, scene.visit.stop_reason) == ("stopped", "wasps")
    told = [item for item in attention_for(planner) if "stopped on site" in item.sentence]
    assert [(item.count, item.url, item.urgency) for item in told] == [
        (1, reverse("job", args=[scene.job.pk]), "now")
    ]


def test_stopped_work_that_is_planned_anew_is_off_the_list():
    scene = scene_on_site()
    stop_work(scene.visit, "wasps", scene.installer, ARRIVED)
    VisitFactory(job=scene.job)

    told = attention_for(UserFactory(company=scene.job.company))

    assert not [item for item in told if "stopped on site" in item.sentence]


def test_stopping_without_a_reason_changes_nothing(client):
    scene = scene_on_site()

    response = post(client, scene, "on_site_stop", {"stop_reason": " ", "client_key": KEY})

    assert response.status_code == 422
    assert Visit.objects.get(pk=scene.visit.pk).status == "on_site"


# --- Photos


def test_photos_arrive_by_the_plain_form_several_at_once(client):
    scene = scene_on_site()
    files = [SimpleUploadedFile(f"{seed}.jpg", loft_jpeg(seed)) for seed in (1, 2)]

    response = post(client, scene, "on_site_photos", {"files": files, "point_label": "P2"}, "after")

    assert response.status_code == 302
    assert set(Photo.objects.values_list("moment", "point_label")) == {("after", "P2")}
    assert "Stored at the office" in page(client, scene, "on_site_photos", "after")


def test_a_refused_file_is_named_and_the_others_stay_stored(client):
    scene = scene_on_site()
    files = [
        SimpleUploadedFile("good.jpg", loft_jpeg(1)),
        SimpleUploadedFile("half.jpg", loft_jpeg(2)[:5000]),
        SimpleUploadedFile("none.jpg", b""),
    ]

    response = post(client, scene, "on_site_photos", {"files": files}, "before")

    html = response.content.decode()
    assert response.status_code == 422
    assert "half.jpg: This file broke off on the way" in html
    assert "none.jpg: This file is empty" in html
    assert Photo.objects.count() == 1


def test_the_same_photo_again_is_said_to_be_there(client):
    scene = scene_on_site()
    stored(scene, loft_jpeg(1))
    again = SimpleUploadedFile("again.jpg", loft_jpeg(1))

    post(client, scene, "on_site_photos", {"files": [again], "point_label": "P3"}, "after")

    html = page(client, scene, "on_site_photos", "after")
    assert "This very photo was stored before (before, P1). Nothing is stored twice." in html


def test_doubts_about_a_photo_are_told_at_once(client):
    scene = scene_on_site()
    inspect(stored(scene, blurred(loft_jpeg(1))))

    assert "It is blurred" in page(client, scene, "on_site_photos", "before")


def test_a_moment_that_does_not_exist_is_a_404(client):
    scene = scene_on_site()
    client.force_login(scene.installer)

    assert client.get(f"/on-site/visits/{scene.visit.pk}/photos/during/").status_code == 404


# --- Readings


def test_a_reading_is_stored_and_told(client):
    scene = scene_on_site()
    place = {"x_mm": 2000, "y_mm": 2000, "depth_mm": 285, "client_key": KEY}

    response = post(client, scene, "on_site_readings", place)

    assert response.status_code == 302
    html = page(client, scene, "on_site_readings")
    assert "285 mm stored at the office." in html
    assert "So far, provisional" in html
    assert DepthReading.objects.get().area == scene.area


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"x_mm": ""}, "Touch the drawing where you measured."),
        ({"x_mm": -3000}, "does not lie in the loft"),
        ({"depth_mm": ""}, "Type the depth in millimetres."),
        ({"depth_mm": 27000}, "27 cm is 270"),
        ({"area": "Attic"}, "Select a valid choice"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_at_its_field(client, change, words):
    scene = scene_on_site()
    place = {"x_mm": 2000, "y_mm": 2000, "depth_mm": 285, "client_key": KEY, **change}

    response = post(client, scene, "on_site_readings", place)

    assert response.status_code == 422
    assert words in response.content.decode()
    assert not DepthReading.objects.exists()


def test_a_wanted_place_fills_the_form_without_a_script(client):
    scene = scene_on_site()
    client.force_login(scene.installer)
    address = reverse("on_site_readings", args=[scene.visit.pk])

    html = client.get(address, {"x_mm": "1234", "y_mm": "2345", "area": "Main loft"}).content

    assert b'value="1234"' in html
    assert b'value="2345"' in html


def test_a_reading_is_corrected_with_its_reason(client):
    scene = scene_on_site()
    row = ReadingRow(x_mm=2000, y_mm=2000, depth_mm=27, measured_at=ARRIVED)
    (first,) = record_readings(scene.visit, [row], scene.installer)

    post(
        client,
        scene,
        "on_site_correct",
        {"depth_mm": 270, "correction_reason": "typed 27", "client_key": KEY},
        first.pk,
    )

    second = DepthReading.objects.current().get()
    assert (second.depth_mm, second.replaces, second.x_mm) == (270, first, 2000)


# --- The handover


def test_the_handover_ends_the_visit(client):
    scene = scene_on_site()
    PreStartCheckFactory(visit=scene.visit, answers=ALL_SAFE)

    response = post(
        client,
        scene,
        "on_site_handover",
        {
            "cautions_given": [c.code for c in CAUTIONS],
            "all_done": "yes",
            "signed_name": "A. Householder",
            "signature_svg": "M10 10L300 200",
            "client_key": KEY,
        },
    )

    assert response.status_code == 302
    html = page(client, scene, "on_site_visit")
    assert "Handed over to A. Householder" in html
    assert "Still missing: Before photos" in html
    again = page(client, scene, "on_site_handover")
    assert "Handed over to A. Householder" in again
    assert "Sign and hand over" not in again


def test_a_handover_without_signature_says_how_else(client):
    scene = scene_on_site()
    sent = {
        "cautions_given": [c.code for c in CAUTIONS],
        "all_done": "yes",
        "signed_name": "A. Householder",
        "client_key": KEY,
    }

    refused = post(client, scene, "on_site_handover", sent)
    taken = post(client, scene, "on_site_handover", {**sent, "name_confirmed": "on"})

    assert (refused.status_code, taken.status_code) == (422, 302)
    assert "confirm with the typed name" in refused.content.decode()
    assert Handover.objects.get().signature_svg == ""


# --- The job's story


def story(client, scene: Scene, **who) -> str:
    client.force_login(UserFactory(**(who or {"company": scene.job.company})))
    return client.get(reverse("job", args=[scene.job.pk])).content.decode()


def test_the_story_tells_photos_readings_checks_and_handover(client):
    scene = scene_on_site()
    inspect(stored(scene, blurred(loft_jpeg(1))))
    PreStartCheckFactory(visit=scene.visit, answers=ALL_SAFE)
    HandoverFactory(visit=scene.visit, signed_name="A. Householder")
    row = ReadingRow(x_mm=2000, y_mm=2000, depth_mm=27, measured_at=ARRIVED)
    (first,) = record_readings(scene.visit, [row], scene.installer)
    fix = ReadingRow(2000, 2000, 270, ARRIVED, replaces=first.pk, correction_reason="typed cm")
    record_readings(scene.visit, [fix], scene.installer)

    html = story(client, scene)

    assert "P1. Main loft: the whole floor from this corner" in html
    assert "Before, look again:</strong> It is blurred" in html
    assert "No photo yet" in html
    assert "typed cm" in html
    assert "corrected later" in html
    assert "Signed by A. Householder" in html
    assert "safe to start" in html


def test_an_auditor_reads_of_the_handover_without_the_householders_name(client):
    scene = scene_on_site()
    HandoverFactory(visit=scene.visit, signed_name="A. Householder")

    let_auditors_see(scene.job)
    html = story(client, scene, role="auditor", scheme=scene.job.scheme)

    assert "Signed by the householder" in html
    assert "A. Householder" not in html


def test_a_job_without_evidence_has_no_empty_sections(client):
    html = story(client, booked_scene())

    assert "Checks and handover" not in html
    assert 'id="photos"' not in html
