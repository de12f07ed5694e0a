"""The contact sheet of a drawn job: what comes first and why, and how its openings are logged."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import product
from typing import Any

import pytest
from django.core.cache import cache
from django.urls import reverse

from calculations.drawing import photo_points
from compliance.audits.access import READING, SENT_AHEAD, SMALL_SENT
from compliance.audits.findings import draft_finding
from compliance.audits.reading import keep_seen, seen_by
from compliance.audits.suspicions import (
    SHORT,
    WEIGHTS,
    DepthTold,
    PhotoTold,
    depth_at,
    reasons_against,
    weight_of,
)
from compliance.audits.things import TELLERS
from compliance.audits.wordings import (
    HATCH,
    KINDS,
    MOST,
    WANTED,
    WORDINGS,
    wordings_about,
)
from compliance.models import EvidenceAccess, JobRead
from compliance.pages.audit_reading_parts import job_page
from compliance.pages.audit_times import FOLDED_FROM, Event, TimeRow, rows_of
from jobs.errors import Refused
from jobs.evidence.clock import ToldTime
from jobs.models import PhotoInspection
from tests.calculations.sample_lofts import RECTANGLE
from tests.compliance.reading_scene import audit_scene
from tests.compliance.scene import certified_scene
from tests.factories import PhotoFactory, UserFactory

BEFORE_AT = datetime(2026, 11, 9, 8, 5, tzinfo=UTC)
FAR = ("far_away", "It was taken 12.0 km from the property, by its EXIF.")
NO_TIME = ("no_time", "The file does not say when it was taken.")


@dataclass(frozen=True)
class Reading:
    x_mm: float
    depth_mm: float
    y_mm: float = 0.0
    area_id: int = 1


def before(*doubts: tuple[str, str]) -> PhotoTold:
    return PhotoTold(BEFORE_AT, doubts)


def after(minutes: float = 90, *doubts: tuple[str, str]) -> PhotoTold:
    return PhotoTold(BEFORE_AT + timedelta(minutes=minutes), doubts)


@pytest.mark.parametrize(
    ("pair", "said"),
    [
        ((before(), after()), []),
        ((before(), after(4)), ["Before and after were taken 4 minutes apart."]),
        ((before(), after(-30)), ["The after photo was taken before the before photo."]),
        ((None, after()), ["No before photo is stored."]),
        ((before(FAR), after()), ["Before: it was taken 12.0 km from the property, by its EXIF."]),
        (
            (before(NO_TIME), after(90, FAR)),
            ["After: it was taken 12.0 km", "Before: the file does not say"],
        ),
        ((PhotoTold(None, (), False), after()), ["Before: the machine has not looked at it yet."]),
    ],
)
def test_what_speaks_against_a_pair_is_said_strongest_first(pair, said):
    found = [reason.text for reason in reasons_against(*pair)]

    assert len(found) == len(said)
    assert all(text.startswith(words) for text, words in zip(found, said, strict=True))


def test_a_reason_says_at_a_glance_what_its_sentence_says_in_full():
    found = reasons_against(before(FAR), after(4))

    assert [reason.short for reason in found] == ["Before: far away", "4 minutes apart"]
    assert set(WEIGHTS) <= set(SHORT)


def test_ready_words_fit_the_keys_and_every_thing_that_a_finding_can_be_about():
    shown = {wording.shows for wording in WORDINGS}
    for kind, shows in product([*TELLERS, ""], shown):
        words = wordings_about(f"{kind}:1" if kind else "", shows)
        assert 1 <= len(words) < MOST  # one more is for what the machine says
        assert len({wording.text for wording in words}) == len(words)
    assert {wording.about for wording in WORDINGS} == set(KINDS.values())


def test_what_the_drawing_wants_to_be_seen_has_its_contrary_among_the_ready_words():
    """In a loft that has each kind of obstacle and fixture that the engine knows."""
    wanted = {point.why.partition(": ")[2] for point in photo_points(RECTANGLE)}

    assert {wording.shows for wording in WANTED} | {"depth against a gauge"} == wanted
    assert wordings_about("pair:P1", HATCH)[0].shown == "Gap in the wool at the hatch."
    assert "eaves" not in " ".join(wording.text for wording in wordings_about("pair:P1", HATCH))


def quiet(nth: int, away_m: float | None = 4.0, **fields: Any) -> Event:
    told = ToldTime(BEFORE_AT + timedelta(minutes=nth), "EXIF", BEFORE_AT)
    return Event(f"time:photo:{nth}", f"Photo {nth}", told, away_m=away_m, **fields)


def test_photos_that_nothing_speaks_against_are_told_as_one_line_and_no_other_event_is():
    doubted, check = quiet(5, warnings=("Too far.",)), replace(quiet(6), key="check:1")
    events = [*map(quiet, range(5)), doubted, check, *map(quiet, range(7, 10))]

    rows = rows_of(events)

    assert [event for row in rows for event in row.events] == events
    assert [len(row.events) for row in rows] == [FOLDED_FROM + 1, 1, 1, 1, 1, 1]
    assert TimeRow((quiet(1), quiet(2, 1500.0), quiet(3, None))).place == (
        "1.5 km from the home at most; 1 tell no place"
    )


def test_an_after_photo_alone_is_enough_where_the_drawing_asks_for_no_more():
    assert reasons_against(None, after(), wants="after") == ()


def test_pairs_with_more_against_them_come_first():
    fine, slight, grave = (
        reasons_against(before(), after(90, *doubts)) for doubts in ((), (NO_TIME,), (FAR,))
    )

    assert sorted([fine, slight, grave], key=weight_of) == [grave, slight, fine]


def test_the_depth_at_a_point_is_the_nearest_reading_and_none_from_across_the_loft():
    readings = [Reading(0, 280), Reading(900, 280), Reading(1800, 280), Reading(4000, 280)]

    assert depth_at(Reading(1000, 0), readings) == DepthTold(280, 100, alike=4)
    assert depth_at(Reading(1000, 0), [*readings, Reading(0, 275)]).alike == 0
    assert depth_at(Reading(8000, 0), readings) is None
    low = depth_at(Reading(0, 0), readings, below=readings[:1])
    assert [reason.text for reason in reasons_against(before(), after(), low)] == [
        "280 mm is less than is asked here.",
        "All 4 readings of this area are 280 mm.",
    ]


@pytest.mark.django_db
def test_the_sheet_and_the_log_tell_what_was_sent_ahead_and_what_was_shown(client):
    cache.clear()
    scene = audit_scene(jobs=2)
    PhotoFactory(visit=scene.scene.visit, moment="before", point_label="X9")  # no look, no after
    drawn = scene.drawn
    address = reverse("drawn_job", args=[drawn.pk])
    client.force_login(scene.auditor)

    page = client.get(address + "?ahead", headers={"Sec-Fetch-Mode": "cors"})
    photo = page.context["read"].groups[-1].pairs[0].point.after.shown.photo
    small = client.get(reverse("audit_photo_small", args=[photo.pk]))
    gauge = client.get(reverse("audit_photo_gauge", args=[photo.pk]))
    sent = list(EvidenceAccess.objects.order_by("pk").values_list("what", flat=True))
    shown = client.post(reverse("drawn_job_shown", args=[drawn.pk]))
    client.get(address + "?ahead", headers={"Sec-Fetch-Mode": "navigate"})

    first = page.context["read"].groups[0]
    assert first.pairs[0].point.label == "X9"
    assert "the machine has not looked at it yet" in page.text
    assert small["Content-Type"] == "image/jpeg" and gauge.status_code == 204
    assert sent == [SENT_AHEAD, SMALL_SENT]
    assert shown.text.lstrip().startswith('<div id="finding-list"')
    logged = list(EvidenceAccess.objects.order_by("pk").values_list("what", flat=True))
    assert logged == [SENT_AHEAD, SMALL_SENT, READING, READING]


@pytest.mark.django_db
def test_a_script_marks_a_job_as_read_and_is_told_when_it_is_not_taken(client):
    scene = audit_scene()
    client.force_login(scene.auditor)
    address, asks = reverse("job_read", args=[scene.drawn.pk]), {"Accept": "application/json"}

    taken = client.post(address, headers=asks)
    scene.round.state = "closed"
    scene.round.save(update_fields=["state"])
    refused = client.post(address, headers=asks)

    assert taken.json() == {"refused": ""} and JobRead.objects.count() == 1
    assert refused.status_code == 409 and "closed" in refused.json()["refused"]


@pytest.mark.django_db
def test_words_of_a_finding_that_comes_too_late_are_shown_to_be_copied(client):
    scene = audit_scene()
    client.force_login(scene.auditor)
    scene.round.state = "closed"
    scene.round.save(update_fields=["state"])

    typed = {"severity": "major", "text": "Gap of a hand beside the hatch."}
    refused = client.post(reverse("finding_draft_new", args=[scene.drawn.pk]), typed)

    assert refused.status_code == 422
    assert "closed" in refused.text and typed["text"] in refused.text
    assert "data-finding-form" not in refused.text


def looked_at(photo, *warnings: dict[str, object], version: str = "8") -> None:
    PhotoInspection.objects.create(
        photo=photo, inspector_version=version, readable=True, warnings=list(warnings)
    )


@pytest.mark.django_db
def test_a_photo_that_looks_the_same_stands_beside_it_where_the_auditor_may_see_it():
    scene, (elsewhere, _) = audit_scene(), certified_scene()
    visit, stranger = scene.scene.visit, elsewhere.job.photos.first()
    own = PhotoFactory(visit=visit, moment="before", point_label="X1")
    looked_at(own)
    for label, other in (("X2", own), ("X3", stranger)):
        doubt = {"code": "like_other_moment", "text": "It looks the same.", "photo": other.pk}
        looked_at(PhotoFactory(visit=visit, moment="after", point_label=label), doubt)

    sheet = {pair.point.label: pair for pair in job_page(scene.drawn, scene.auditor).sheet}

    assert [like.words for like in sheet["X2"].likes] == ["Like: Before at X1"]
    assert sheet["X3"].likes == ()
    assert "same as" in sheet["X3"].reasons[0].short


@pytest.mark.django_db
def test_the_machine_tells_once_what_stands_at_the_pairs_and_itself_what_stands_at_none():
    """A photo without a place raises no doubt at its pair; one without camera data does."""
    scene = audit_scene()
    looked_at(PhotoFactory(visit=scene.scene.visit, moment="after", point_label="X1"))
    nowhere = job_page(scene.drawn, scene.auditor)
    bare = PhotoFactory(visit=scene.scene.visit, moment="after", point_label="X2")
    for photo in scene.drawn.job.photos.all():
        doubt = {"code": "no_exif", "text": "It has no camera data."}
        looked_at(photo, doubt, version="9")
    told = job_page(scene.drawn, scene.auditor)

    assert "Within 1 km" in {check.words for check in nowhere.to_look_at}
    assert "Within 1 km" in {check.words for check in told.told_at_pairs}
    assert told.to_look_at == () and told.spoken_against == len(told.sheet)
    assert bare.point_label in {pair.point.label for pair in told.sheet if pair.reasons}


@pytest.mark.django_db
def test_what_was_seen_is_kept_for_each_auditor_and_only_of_points_with_photos(client):
    scene = audit_scene()
    colleague = UserFactory(role="auditor", scheme=scene.auditor.scheme)
    drawn = scene.drawn
    address = reverse("api_drawn_job_seen", args=[drawn.pk])
    client.force_login(scene.auditor)

    kept = client.put(address, {"points": ["P2", "P1"]}, content_type="application/json")
    refused = client.put(address, {"points": ["P77"]}, content_type="application/json")
    page = client.get(reverse("drawn_job", args=[drawn.pk]))

    assert kept.json() == client.get(address).json() == {"points": ["P1", "P2"]}
    assert refused.status_code == 400 and "P77" in refused.text
    assert page.context["seen"] == ["P1", "P2"]
    assert seen_by(drawn, colleague) == frozenset()
    with pytest.raises(Refused):
        keep_seen(drawn, colleague, ["P77"])
    client.force_login(colleague)
    assert client.get(address).json() == {"points": []}


@pytest.mark.django_db
def test_the_order_and_its_reasons_are_told_over_the_api_and_that_is_logged(client):
    scene = audit_scene()
    PhotoFactory(visit=scene.scene.visit, moment="before", point_label="X9")
    keep_seen(scene.drawn, scene.auditor, ["P1"])
    client.force_login(scene.auditor)

    told = client.get(reverse("api_drawn_job_sheet", args=[scene.drawn.pk])).json()

    first = told["pairs"][0]
    assert first["point"] == "X9" and first["after"] is None and first["before"]
    assert first["reasons"][0]["short"] == "Before: not looked at yet"
    assert {pair["point"] for pair in told["pairs"] if pair["seen"]} == {"P1"}
    checks = {check["words"]: check for check in told["checks"]}
    assert checks["Verdict reached again"]["is_fine"]
    assert checks["Not looked at yet"]["told_at_pairs"]
    other_loft = "{place}: before and after do not show the same loft."
    assert {"severity": "major", "text": other_loft} in first["ready_words"]
    logged = EvidenceAccess.objects.get(person=scene.auditor)
    assert logged.what == "order of the pairs and what speaks against them"


@pytest.mark.django_db
def test_every_ready_wording_can_be_a_draft_as_it_stands():
    scene = audit_scene()

    for wording in WORDINGS:
        text = wording.text.format(place="P1")
        assert draft_finding(scene.drawn, scene.auditor, severity=wording.severity, text=text).pk
