"""Where two worlds meet: a job shared by crews, a home with two jobs, addresses made of two ids."""

from __future__ import annotations

import json
from typing import Any
from urllib.parse import unquote
from uuid import uuid4

import pytest
from django.urls import is_valid_path

from jobs.models import DepthReading, Job, Photo, Visit
from tests.access import registry
from tests.access.addresses import ADDRESSES, Address
from tests.access.test_every_address import DECLARED
from tests.access.visitor import Visitor
from tests.access.worlds import WORLDS, World, a_visit
from tests.factories import JobFactory

pytestmark = pytest.mark.django_db

API = "/api/v1"


def ids(visitor: Visitor, url: str) -> set[int]:
    return {row["id"] for row in json.loads(visitor.ask("GET", url).text)["results"]}


# --- A job that two crews are booked on


@pytest.fixture
def others_visit(worlds: dict[str, World]) -> Visit:
    """Another crew's call-back to a job that the own crew fitted."""
    own, other = worlds["own"], worlds["other_crew"]
    visit = a_visit(other, own.job, 30, kind="call_back")
    assert visit.crew == other.crew
    return visit


def test_installer_sees_the_job_but_not_the_other_crews_visit(
    others_visit: Visit, visitors: dict[str, Visitor]
) -> None:
    installer = visitors["installer"]
    assert others_visit.job_id in ids(installer, f"{API}/jobs/")
    assert others_visit.pk not in ids(installer, f"{API}/visits/")
    assert installer.ask("GET", f"{API}/visits/{others_visit.pk}/").status == 404


@pytest.mark.parametrize("step", ["", "check/", "stop/", "photos/after/", "handover/", "leave/"])
@pytest.mark.parametrize("method", ["GET", "POST"])
def test_installer_opens_no_step_of_the_other_crews_visit(
    others_visit: Visit, visitors: dict[str, Visitor], step: str, method: str
) -> None:
    answer = visitors["installer"].ask(method, f"/on-site/visits/{others_visit.pk}/{step}")
    assert answer.status == 404


def test_installer_writes_nothing_on_the_other_crews_visit(
    others_visit: Visit, visitors: dict[str, Visitor]
) -> None:
    reading = {"x_mm": 2000, "y_mm": 2000, "depth_mm": 280}
    body = {"visit": others_visit.pk, "readings": [reading]}
    answer = visitors["installer"].ask("POST", f"{API}/depth-readings/", body)
    assert answer.status == 400
    assert '"field":"visit"' in answer.text and "does not exist" in answer.text


def test_installer_loses_sight_of_a_job_whose_visit_is_cancelled(
    worlds: dict[str, World], visitors: dict[str, Visitor]
) -> None:
    own, installer = worlds["own"], visitors["installer"]
    url = f"{API}/jobs/{own.booked_job.pk}/"
    assert installer.ask("GET", url).status == 200
    Visit.objects.filter(pk=own.booked_visit.pk).update(status="cancelled")
    assert installer.ask("GET", url).status == 404
    assert installer.ask("GET", f"/on-site/visits/{own.booked_visit.pk}/").status == 404
    assert installer.ask("GET", f"{API}/surveys/{own.plan.survey_id}/").status == 404


# --- A home with jobs under two schemes


@pytest.fixture
def second_job(worlds: dict[str, World]) -> Job:
    """Another job at the home of the own job, under a scheme that is not the auditor's."""
    home, scheme = worlds["own"].home, worlds["other_scheme"].scheme
    return JobFactory(company=home.company, property=home, scheme=scheme)


@pytest.mark.parametrize(
    ("role", "told"), [("planner", True), ("installer", False), ("auditor", False)]
)
def test_home_names_only_the_jobs_that_the_reader_may_see(
    second_job: Job,
    worlds: dict[str, World],
    visitors: dict[str, Visitor],
    role: str,
    told: bool,
) -> None:
    own = worlds["own"]
    answers = [
        json.loads(visitors[role].ask("GET", f"{API}/properties/{own.home.pk}/").text),
        *(
            row
            for row in json.loads(visitors[role].ask("GET", f"{API}/properties/").text)["results"]
            if row["id"] == own.home.pk
        ),
    ]
    assert len(answers) == 2
    for home in answers:
        assert own.job.pk in home["jobs"]
        assert (second_job.pk in home["jobs"]) is told


# --- Addresses made of several ids

OF_SEVERAL = [
    address
    for address in DECLARED
    if sum(thing.eyes is not None for thing in registry.things_at(address).values()) > 1
]


@pytest.mark.parametrize("method", ["GET", "POST"])
@pytest.mark.parametrize("address", OF_SEVERAL, ids=str)
def test_own_and_foreign_ids_do_not_mix(
    address: Address, method: str, worlds: dict[str, World], visitors: dict[str, Visitor]
) -> None:
    things = registry.things_at(address)
    own = {name: thing.of(worlds["own"]) for name, thing in things.items()}
    for role in address.read_roles:
        for world in WORLDS[1:]:
            for name, thing in things.items():
                if thing.eyes is not None:
                    url = registry.url_with(address, {**own, name: thing.of(worlds[world])})
                    assert visitors[role].ask(method, url).status == 404, url


def test_there_is_an_address_of_several_ids() -> None:
    assert OF_SEVERAL


# --- Ids that cannot be

IMPOSSIBLE = ["abc", "-1", "9" * 40, "%00", "1%00", "é", "1' or '1'='1", "0x1"]


@pytest.mark.parametrize("address", [a for a in ADDRESSES if registry.names_records(a)], ids=str)
def test_an_impossible_id_is_not_found(
    address: Address, worlds: dict[str, World], visitors: dict[str, Visitor]
) -> None:
    """404 and no failure, of those that get as far as a view."""
    role = "anonymous" if address.is_open else sorted(address.read_roles | address.write_roles)[0]
    for url in impossible_urls(address, worlds["own"]):
        for method in ("GET", "POST"):
            assert visitors[role].ask(method, url).status in (403, 404, 405), url


def impossible_urls(address: Address, own: World) -> list[str]:
    """The address with each impossible id in each place, as far as the URL conf takes it."""
    things = registry.things_at(address)
    given = {name: thing.of(own) for name, thing in things.items()}
    urls = [
        registry.url_with(address, {**given, name: text})
        for name, thing in things.items()
        if thing.eyes is not None
        for text in IMPOSSIBLE
    ]
    return [url for url in urls if is_valid_path(unquote(url))]


# --- Photos in every size


@pytest.mark.parametrize("size", ["original", "display", "thumb"])
def test_photo_is_handed_out_in_no_size_to_others(
    size: str, worlds: dict[str, World], visitors: dict[str, Visitor]
) -> None:
    seen = registry.OF_JOB
    for role in ("planner", "installer", "auditor", "platform_admin"):
        for world in WORLDS:
            answer = visitors[role].ask("GET", f"/photos/{worlds[world].photo.pk}/{size}/")
            assert answer.status == (200 if world in seen.get(role, ()) else 404), (role, world)


def test_a_known_etag_opens_no_photo(
    worlds: dict[str, World], visitors: dict[str, Visitor]
) -> None:
    """Whoever knows the hash of a picture is told no more than anybody else."""
    photo: Photo = worlds["other_company"].photo
    url, etag = f"/photos/{photo.pk}/original/", f'"{photo.sha256}"'
    assert visitors["planner"].ask("GET", url, **{"If-None-Match": etag}).status == 404


# --- What a phone sends names only its own


@pytest.mark.parametrize("world", WORLDS[1:])
def test_a_correction_names_no_reading_of_another_job(
    world: str, worlds: dict[str, World], visitors: dict[str, Visitor]
) -> None:
    own = worlds["own"]
    Visit.objects.filter(pk=own.booked_visit.pk).update(status="on_site")
    told = [
        correction(visitors["installer"], own, replaced)
        for replaced in (worlds[world].reading.pk, 2_000_000_000)
    ]
    assert told[0] == told[1]
    assert told[0][0] == 400 and "readings[0].replaces" in told[0][1]


def correction(installer: Visitor, own: World, replaced: int) -> tuple[int, str]:
    row = {
        "x_mm": 2000,
        "y_mm": 2000,
        "depth_mm": 280,
        "replaces": replaced,
        "correction_reason": "typed wrongly",
    }
    body = {"visit": own.booked_visit.pk, "readings": [row]}
    answer = installer.ask("POST", f"{API}/depth-readings/", body)
    return answer.status, answer.text


def test_a_key_of_another_crews_record_gives_nothing_of_it(
    worlds: dict[str, World], visitors: dict[str, Visitor]
) -> None:
    """A phone that sends a key which another crew's record has is not given that record."""
    own, other = worlds["own"], worlds["other_crew"]
    Visit.objects.filter(pk=own.booked_visit.pk).update(status="on_site")
    taken: DepthReading = other.reading
    row: dict[str, Any] = {"x_mm": 2000, "y_mm": 2000, "depth_mm": 280}
    body = {
        "visit": own.booked_visit.pk,
        "readings": [{**row, "client_key": str(taken.client_key)}],
    }
    answer = visitors["installer"].ask("POST", f"{API}/depth-readings/", body)
    assert answer.status == 409
    assert other.secret not in answer.text and f'"id":{taken.pk}' not in answer.text
    body["readings"][0]["client_key"] = str(uuid4())
    assert visitors["installer"].ask("POST", f"{API}/depth-readings/", body).status == 201
