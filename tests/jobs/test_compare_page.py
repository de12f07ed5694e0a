"""Before and after, point by point: readable without a script, with time and place beside each."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from jobs.evidence.inspection import inspect
from jobs.evidence.photo_facts import photo_facts
from jobs.models import Photo
from jobs.pages.compare import comparison_of
from tests.compliance.audited import let_auditors_see
from tests.factories import (
    CompanyFactory,
    JobFactory,
    PhotoFactory,
    UserFactory,
    VisitFactory,
)
from tests.jobs.on_site_scene import Scene, scene_on_site, stored
from tests.pictures import loft_jpeg

pytestmark = pytest.mark.django_db


def photographed() -> Scene:
    scene = scene_on_site()
    for seed, (moment, label) in enumerate(
        [("before", "P1"), ("after", "P1"), ("before", "P2"), ("other", "")]
    ):
        inspect(stored(scene, loft_jpeg(seed, moment=moment), moment=moment, point_label=label))
    return scene


def page(client, scene: Scene, point: str = "", role: str = "planner") -> str:
    who = {"scheme": scene.job.scheme} if role == "auditor" else {"company": scene.job.company}
    let_auditors_see(scene.job)
    client.force_login(UserFactory(role=role, **who))
    answer = client.get(reverse("job_compare", args=[scene.job.pk]), {"point": point})
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_pair_stands_side_by_side_with_its_neighbours(client):
    scene = photographed()

    html = page(client, scene, "P1")

    assert 'alt="Before photo at P1"' in html and 'alt="After photo at P1"' in html
    assert 'rel="next"' in html and 'rel="prev"' not in html
    assert "1 of 3" in html


def test_a_point_without_its_after_photo_says_so(client):
    html = page(client, photographed(), "P2")

    assert "No after photo" in html
    assert 'rel="prev"' in html and 'rel="next"' in html


def test_the_point_is_marked_on_the_drawing(client):
    scene = photographed()

    one, two = page(client, scene, "P1"), page(client, scene, "P2")

    assert one.count("eb-photo-highlight") == two.count("eb-photo-highlight") == 2
    assert (
        one.partition("eb-photo-highlight")[2][:40] != two.partition("eb-photo-highlight")[2][:40]
    )


def test_an_unknown_point_shows_the_first(client):
    assert "1 of 3" in page(client, photographed(), "P99")


def test_the_first_point_is_shown_where_none_is_named():
    """A photo at no point has an empty label: it is not what no label asks for."""
    scene = photographed()

    assert comparison_of(scene.job).number == 1
    assert comparison_of(scene.job, "").point.name == "No point"


def test_the_newest_photo_of_a_moment_stands_in_the_pair():
    scene = photographed()
    newest = stored(scene, loft_jpeg(9, moment="after"), moment="after")

    comparison = comparison_of(scene.job, "P1")

    assert comparison.point.after.shown.photo == newest
    assert len(comparison.point.further) == 1


@pytest.mark.parametrize("role", ["planner", "surveyor", "compliance_officer", "auditor"])
def test_whoever_reads_the_story_may_compare(client, role):
    assert "Before and after" in page(client, photographed(), role=role)


def test_other_companies_find_nothing(client):
    scene = photographed()
    client.force_login(UserFactory())

    assert client.get(reverse("job_compare", args=[scene.job.pk])).status_code == 404


def test_a_job_without_photos_says_so(client):
    assert "No photo of this job is stored yet." in page(client, scene_on_site())


def test_each_time_and_place_names_its_source():
    scene, now = scene_on_site(), timezone.now()
    ahead = timedelta(minutes=7)
    photo = PhotoFactory(
        visit=scene.visit,
        phone_taken_at=now + ahead,
        received_at=now,
        phone_sent_at=now + ahead,
        phone_ahead=ahead,
    )
    photo.inspections.create(
        inspector_version="t",
        readable=True,
        exif_taken_at=now + ahead - timedelta(minutes=1),
        exif_latitude_deg=52.0,
        exif_longitude_deg=-1.0,
        device="Invented 1",
    )
    home = scene.job.property
    home.latitude_deg, home.longitude_deg = 52.0, -1.0

    facts = photo_facts(photo, photo.inspections.get(), home)

    assert [(time.what, time.told.words) for time in facts.times] == [
        ("Taken", "EXIF 7 min ahead, corrected"),
        ("Saved on the phone", "phone clock 7 min ahead, corrected"),
        ("Stored at the office", "our clock"),
    ]
    assert facts.taken.told.at == now - timedelta(minutes=1)
    assert facts.place == "0 m from the home (EXIF)"


@pytest.mark.parametrize(("stranger", "is_led_to"), [(False, True), (True, False)])
def test_a_photo_of_another_job_is_led_to_within_the_company_only(client, stranger, is_led_to):
    scene = scene_on_site()
    elsewhere = JobFactory(company=CompanyFactory() if stranger else scene.job.company)
    other = PhotoFactory(visit=VisitFactory(job=elsewhere), moment="after", point_label="P3")
    like = {"code": "like_other_job", "text": "It looks the same.", "photo": other.pk}
    photo = PhotoFactory(visit=scene.visit, moment="after", point_label="P1")
    photo.inspections.create(inspector_version="t", readable=True, warnings=[like])

    html = page(client, scene, "P1")

    assert "It looks the same." in html
    address = reverse("job_compare", args=[elsewhere.pk])
    assert (f'href="{address}?point=P3"' in html) is is_led_to
    assert (elsewhere.reference in html) is is_led_to


def test_the_page_costs_the_same_however_many_photos(client, django_assert_max_num_queries):
    scene = photographed()
    for seed in range(20, 24):
        inspect(stored(scene, loft_jpeg(seed, moment="after"), moment="after", point_label="P3"))
    client.force_login(UserFactory(company=scene.job.company))

    with django_assert_max_num_queries(22):
        client.get(reverse("job_compare", args=[scene.job.pk]))
    assert Photo.objects.count() == 8
