"""/api/v1/intake-batches/"""

from __future__ import annotations

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from jobs.models import IntakeBatch, Job
from tests.factories import SchemeFactory
from tests.jobs.intake_files import csv_file, line, looked_through
from tests.jobs.planner_scene import an_office, api_for

pytestmark = pytest.mark.django_db
URL = "/api/v1/intake-batches/"


def upload(*lines: str) -> SimpleUploadedFile:
    return SimpleUploadedFile("homes.csv", csv_file(*lines).getvalue(), "text/csv")


def test_a_spreadsheet_goes_all_the_way(django_capture_on_commit_callbacks):
    office = an_office()
    client = api_for(office.planner)

    with django_capture_on_commit_callbacks(execute=True):
        sent = client.post(
            URL,
            {"scheme": office.scheme.pk, "file": upload(line(1), line(2, postcode="LE1"))},
            format="multipart",
        )
    assert sent.status_code == 201, sent.json()
    url = f"{URL}{sent.json()['id']}/"
    assert client.get(url).json()["state"] == "preview"
    [bad] = client.get(f"{url}rows/", {"outcome": "bad"}).json()["results"]
    assert bad["problems"][0]["field"] == "postcode"

    with django_capture_on_commit_callbacks(execute=True):
        assert client.post(f"{url}import/").status_code == 202
    assert client.get(url).json()["state"] == "imported"
    assert Job.objects.get().property.reference == "H-1"

    assert client.post(f"{url}import/").status_code == 409
    mend = client.get(f"{url}to-mend/", {"kind": "csv"})
    assert "H-2" in mend.content.decode("utf-8-sig")


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"file": None}, "file"),
        ({"file": SimpleUploadedFile("empty.csv", b"")}, "file"),
        ({"scheme": 0}, "scheme"),
    ],
)
def test_a_wrong_request_is_named(given, field):
    office = an_office()
    body = {"scheme": office.scheme.pk, "file": upload(line(1))} | given
    body = {name: value for name, value in body.items() if value is not None}

    answer = api_for(office.planner).post(URL, body, format="multipart")

    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] == field


def test_a_scheme_of_others_does_not_exist():
    office = an_office()

    answer = api_for(office.planner).post(
        URL, {"scheme": SchemeFactory().pk, "file": upload(line(1))}, format="multipart"
    )

    assert answer.status_code == 400
    assert not IntakeBatch.objects.exists()


def test_batches_of_others_do_not_exist():
    batch, client = looked_through(an_office(), line(1)), api_for(an_office().planner)

    for path in ("", "rows/", "to-mend/"):
        assert client.get(f"{URL}{batch.pk}/{path}").status_code == 404
    assert client.post(f"{URL}{batch.pk}/import/").status_code == 404
    assert client.get(URL).json()["results"] == []


def test_only_planners_find_it():
    office = an_office()

    for role in ("surveyor", "installer", "compliance_officer"):
        assert api_for(office.person(role)).get(URL).status_code == 404


def test_an_unknown_kind_of_file_is_refused():
    office = an_office()
    batch = looked_through(office, line(1))

    answer = api_for(office.planner).get(f"{URL}{batch.pk}/to-mend/", {"kind": "pdf"})

    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] == "kind"


def test_lists_take_few_queries(django_assert_num_queries):
    office = an_office()
    batch = looked_through(office, *(line(n) for n in range(5)))
    client = api_for(office.planner)

    with django_assert_num_queries(1):
        client.get(URL)
    with django_assert_num_queries(2):
        assert len(client.get(f"{URL}{batch.pk}/rows/").json()["results"]) == 5


def test_a_body_that_is_no_form_is_not_taken():
    office = an_office()

    answer = api_for(office.planner).post(URL, {"scheme": 1}, format="json")

    assert answer.status_code == 415
