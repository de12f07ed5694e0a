"""Sending a spreadsheet by page: preview, import, progress, files to take away."""

from __future__ import annotations

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from openpyxl import load_workbook

from jobs.models import IntakeBatch, Job
from tests.jobs.intake_files import csv_file, line, looked_through, received, taken_in
from tests.jobs.planner_scene import an_office, signed_in

pytestmark = pytest.mark.django_db


def send(client, office, *lines, name="homes.csv"):
    file = SimpleUploadedFile(name, csv_file(*lines).getvalue())
    return client.post("/intake/", {"scheme": office.scheme.pk, "file": file})


def test_a_spreadsheet_goes_from_preview_to_jobs(django_capture_on_commit_callbacks):
    office = an_office()
    client = signed_in(office.planner)

    with django_capture_on_commit_callbacks(execute=True):
        answer = send(client, office, line(1), line(2, postcode="LE1"))
    url = answer.headers["Location"]
    page = client.get(url).content.decode()
    assert "Take in 1 good row<" in page
    assert "Write it as on a letter" in page
    assert not Job.objects.exists()

    with django_capture_on_commit_callbacks(execute=True):
        client.post(f"{url}import/")
    page = client.get(url, {"outcome": "imported"}).content.decode()
    assert Job.objects.get().reference in page


@pytest.mark.parametrize(
    ("file", "said"),
    [(None, "Choose a file."), (SimpleUploadedFile("empty.csv", b""), "This file is empty")],
)
def test_no_file_or_an_empty_one_is_told(file, said):
    office = an_office()
    sent = {"scheme": office.scheme.pk} | ({"file": file} if file else {})

    answer = signed_in(office.planner).post("/intake/", sent)

    assert said in str(answer.context["form"].errors["file"])
    assert not IntakeBatch.objects.exists()


def test_a_file_that_cannot_be_read_says_what_to_do(django_capture_on_commit_callbacks):
    office = an_office()
    client = signed_in(office.planner)

    with django_capture_on_commit_callbacks(execute=True):
        file = SimpleUploadedFile("x.csv", b"referense,address_line_1,town,postcode,nation\n")
        answer = client.post("/intake/", {"scheme": office.scheme.pk, "file": file})

    page = client.get(answer.headers["Location"]).content.decode()
    assert "This file could not be read" in page
    assert "“referense” meant to be reference" in page


def test_progress_is_told_while_it_works_and_then_the_page_is_shown_anew():
    office = an_office()
    batch = received(office, csv_file(line(1)))
    client, url = signed_in(office.planner), f"/intake/{batch.pk}/progress/"
    IntakeBatch.objects.filter(pk=batch.pk).update(rows_done=500, row_count=5000)

    working = client.get(url)
    assert 'value="500"' in working.content.decode()
    assert "5,000" in working.content.decode()
    assert "HX-Refresh" not in working.headers

    IntakeBatch.objects.filter(pk=batch.pk).update(state="preview")
    assert client.get(url).headers["HX-Refresh"] == "true"


def test_importing_twice_is_refused_kindly():
    office = an_office()
    batch = taken_in(office, line(1))

    answer = signed_in(office.planner).post(f"/intake/{batch.pk}/import/", follow=True)

    assert "cannot be taken in now" in answer.content.decode()
    assert Job.objects.count() == 1


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_the_rows_to_mend_and_the_template_can_be_taken_away(kind):
    office = an_office()
    batch = looked_through(office, line(1), line(2, postcode="LE1"))
    client = signed_in(office.planner)

    for url in (f"/intake/{batch.pk}/to-mend.{kind}", f"/intake/template.{kind}"):
        answer = client.get(url)
        assert answer.headers["Content-Disposition"].startswith("attachment;")
        if kind == "xlsx":
            assert load_workbook(io.BytesIO(answer.content)).active["A1"].value == "reference"
        else:
            assert answer.content.decode("utf-8-sig").startswith("reference,")


def test_other_kinds_of_file_are_not_found():
    office = an_office()
    batch = looked_through(office, line(1))
    client = signed_in(office.planner)

    assert client.get(f"/intake/{batch.pk}/to-mend.pdf").status_code == 404
    assert client.get("/intake/template.exe").status_code == 404


def test_a_batch_of_thousands_is_paged_in_few_queries(django_assert_max_num_queries):
    office = an_office()
    batch = looked_through(office, *(line(number) for number in range(120)))
    client = signed_in(office.planner)

    with django_assert_max_num_queries(14):
        page = client.get(f"/intake/{batch.pk}/", {"outcome": "all", "page": 2}).context["page"]

    assert (len(page), page.paginator.count) == (50, 120)


def test_batches_are_the_planners_own():
    batch, office = looked_through(an_office(), line(1)), an_office()
    paths = ("", "progress/", "to-mend.csv")

    for path in paths:
        assert signed_in(office.planner).get(f"/intake/{batch.pk}/{path}").status_code == 404
    assert signed_in(office.planner).post(f"/intake/{batch.pk}/import/").status_code == 404
    for role in ("surveyor", "installer", "compliance_officer"):
        assert signed_in(office.person(role)).get("/intake/").status_code == 404


def test_importing_is_a_post():
    office = an_office()
    batch = looked_through(office, line(1))

    assert signed_in(office.planner).get(f"/intake/{batch.pk}/import/").status_code == 405
