"""A spreadsheet on its way in: previewed row by row, imported, sent again, mended."""

from __future__ import annotations

import io
from datetime import timedelta

import pytest
from django.db import connection
from django.utils import timezone
from openpyxl import load_workbook

from jobs.errors import Conflict, Refused
from jobs.intake import batches, files
from jobs.intake.batches import begin_import, import_batch, preview, receive_file, tally
from jobs.intake.properties import take_in_property
from jobs.intake.values import PROPERTY_FIELDS
from jobs.models import IntakeBatch, IntakeRow, Job, Property
from jobs.tasks import resume_intake
from tests.factories import SchemeFactory
from tests.jobs.intake_files import csv_file, line, looked_through, received, taken_in
from tests.jobs.planner_scene import an_office, values

pytestmark = pytest.mark.django_db


def test_a_preview_says_row_by_row_what_is_wrong_and_takes_nothing_in():
    batch = looked_through(
        an_office(), line(1), line(2, postcode="LE1"), line(3, nation="Scotland"), line(1)
    )

    assert (batch.state, batch.row_count) == ("preview", 4)
    bad = {row.number: row.problems[0] for row in batch.rows.filter(outcome="bad")}
    assert {number: problem["field"] for number, problem in bad.items()} == {
        3: "postcode",
        4: "nation",
        5: "reference",
    }
    assert "Choose England" in bad[4]["remedy"]
    assert "Row 2 of this file" in bad[5]["message"]
    assert not Property.objects.exists()


def test_an_import_takes_the_good_rows_and_leaves_the_bad():
    office = an_office()

    batch = taken_in(office, line(1), line(2, postcode="LE1"), line(3))

    assert tally(batch) == batches.Tally(good=0, bad=1, known=0, imported=2)
    assert (batch.state, batch.rows_done) == ("imported", 3)
    assert {job.property.reference for job in Job.objects.all()} == {"H-1", "H-3"}
    assert {job.company for job in Job.objects.all()} == {office.company}


def test_the_same_file_a_second_time_changes_nothing():
    office = an_office()
    taken_in(office, line(1), line(2))

    again = taken_in(office, line(1), line(2))

    assert tally(again).known == 2
    assert (Property.objects.count(), Job.objects.count()) == (2, 2)
    assert all(row.job is not None for row in again.rows.all())


def test_a_known_home_gets_a_job_under_a_further_scheme():
    office = an_office()
    taken_in(office, line(1))
    office.scheme = SchemeFactory(companies=[office.company])

    taken_in(office, line(1))

    assert (Property.objects.count(), Job.objects.count()) == (1, 2)


def test_a_known_reference_at_another_postcode_is_to_be_mended():
    office = an_office()
    taken_in(office, line(1))

    batch = looked_through(office, line(1, postcode="LE2 2BB"))

    row = batch.rows.get()
    assert row.outcome == "bad"
    assert "already know this reference as 1 Example Row" in row.problems[0]["message"]


def test_a_home_that_was_corrected_since_is_still_known():
    office = an_office()
    home = taken_in(office, line(1)).rows.get().job.property
    home.address_line_1 = "1 Example Row North"
    home.save()

    assert tally(looked_through(office, line(1))).known == 1


def test_another_companys_reference_is_no_hindrance():
    taken_in(an_office(), line(1))

    batch = taken_in(an_office(), line(1))

    assert tally(batch).imported == 1


def test_a_home_taken_in_between_preview_and_import_becomes_known():
    office = an_office()
    batch = looked_through(office, line(1), line(2))
    take_in_property(office.company, office.scheme, values(), office.planner)

    begin_import(batch)
    import_batch(batch)

    assert tally(batch) == batches.Tally(good=0, bad=0, known=1, imported=1)


def test_one_row_that_is_no_longer_good_does_not_keep_the_others_out():
    office = an_office()
    batch = looked_through(office, line(1), line(2))
    office.company.properties.create(**values(reference="H-2", postcode="LE2 2BB").of_property())

    begin_import(batch)
    import_batch(batch)

    assert batch.rows.get(number=2).outcome == "imported"
    refused = batch.rows.get(number=3)
    assert refused.outcome == "bad"
    assert "already know" in refused.problems[0]["message"]


def test_an_import_that_died_goes_on_where_it_was(monkeypatch):
    monkeypatch.setattr(batches, "ROWS_AT_ONCE", 1)
    office = an_office()
    batch = looked_through(office, line(1), line(2))
    begin_import(batch)
    together, calls = batches._take_in_together, []

    def dying(batch, rows):
        calls.append(rows)
        if len(calls) == 2:
            raise KeyboardInterrupt
        together(batch, rows)

    monkeypatch.setattr(batches, "_take_in_together", dying)
    with pytest.raises(KeyboardInterrupt):
        import_batch(batch)
    batch.refresh_from_db()
    assert (batch.state, Job.objects.count()) == ("importing", 1)

    monkeypatch.setattr(batches, "_take_in_together", together)
    import_batch(batch)

    assert (batch.state, Job.objects.count(), batch.rows_done) == ("imported", 2, 2)


def test_a_preview_that_died_starts_afresh():
    office = an_office()
    batch = received(office, csv_file(line(1)))
    IntakeRow.objects.create(batch=batch, number=2, values={}, outcome="good")

    preview(batch)

    assert batch.rows.get().values["reference"] == "H-1"


def test_a_batch_left_lying_is_sent_again_and_a_fresh_one_left_alone():
    office = an_office()
    forgotten, fresh = (received(office, csv_file(line(n))) for n in (1, 2))
    long_ago = timezone.now() - timedelta(minutes=6)
    IntakeBatch.objects.filter(pk=forgotten.pk).update(sent_at=long_ago)

    resume_intake()

    states = dict(IntakeBatch.objects.values_list("pk", "state"))
    assert states == {forgotten.pk: "preview", fresh.pk: "reading"}


def test_running_a_task_twice_does_nothing_the_second_time():
    batch = taken_in(an_office(), line(1))

    import_batch(batch)
    preview(batch)

    assert (Job.objects.count(), batch.state) == (1, "imported")


def test_a_batch_is_taken_in_once():
    batch = taken_in(an_office(), line(1))

    with pytest.raises(Conflict, match="Imported"):
        begin_import(batch)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"PK\x03\x04broken", "cannot be opened"),
        (b"name,place\nx,y\n", "no column reference"),
        (b"reference,address_line_1,town,postcode,nation\n", "no home below the headings"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_with_the_reason(content, said):
    batch = preview(received(an_office(), io.BytesIO(content)))

    assert batch.state == "refused"
    assert said in batch.refusal
    assert not batch.rows.exists()


@pytest.mark.parametrize(("size_bytes", "said"), [(0, "empty"), (2048, "at most")])
def test_an_empty_or_enormous_file_is_not_even_stored(monkeypatch, size_bytes, said):
    monkeypatch.setattr(batches, "MOST_BYTES", 1024)
    office = an_office()

    with pytest.raises(Refused, match=said):
        receive_file(
            office.company, office.scheme, io.BytesIO(b"x" * size_bytes), "h.csv", office.planner
        )

    assert not IntakeBatch.objects.exists()


def test_five_thousand_rows_take_few_queries(django_assert_max_num_queries):
    office = an_office()
    file = csv_file(*(line(number) for number in range(5000)))

    with django_assert_max_num_queries(200):
        batch = preview(received(office, file))
        begin_import(batch)
        import_batch(batch)

    assert tally(batch).imported == 5000


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_the_rejected_rows_come_back_mended(kind):
    office = an_office()
    batch = taken_in(office, line(1), line(2, postcode="LE1"))
    content = files.rejected_rows_file(batch, kind)

    mended = content.replace(b"LE1,", b"LE1 1AB,") if kind == "csv" else _mend_xlsx(content)
    again = preview(received(office, io.BytesIO(mended), f"mended.{kind}"))
    begin_import(again)
    import_batch(again)

    assert tally(again) == batches.Tally(good=0, bad=0, known=0, imported=1)
    assert Property.objects.get(reference="H-2").postcode == "LE1 1AB"


def _mend_xlsx(content: bytes) -> bytes:
    book = load_workbook(io.BytesIO(content))
    book.active.cell(2, PROPERTY_FIELDS.index("postcode") + 1).value = "LE1 1AB"
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def test_the_rejected_rows_say_what_is_wrong_and_how_to_mend_it():
    batch = looked_through(an_office(), line(7, postcode="LE1"))

    text = files.rejected_rows_file(batch, "csv").decode("utf-8-sig")

    assert "what_is_wrong" in text
    assert "postcode: “LE1” is not of the form of a UK postcode." in text
    assert "Write it as on a letter" in text


def test_a_cell_that_would_run_as_a_formula_is_handed_back_as_text():
    office = an_office()
    batch = looked_through(office, "=HYPERLINK(1),1 Example Row,Sampleton,LE1,England")

    text = files.rejected_rows_file(batch, "csv").decode("utf-8-sig")
    book = load_workbook(io.BytesIO(files.rejected_rows_file(batch, "xlsx")))

    assert "'=HYPERLINK(1)" in text
    assert book.active["A2"].data_type == "s"
    again = preview(received(office, io.BytesIO(text.encode())))
    assert again.rows.get().values["reference"] == "=HYPERLINK(1)"


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_the_template_can_be_sent_as_it_is(kind):
    file = io.BytesIO(files.template_file(kind))

    batch = preview(received(an_office(), file, f"homes.{kind}"))

    assert tally(batch) == batches.Tally(good=1, bad=0, known=0, imported=0)


@pytest.mark.django_db(transaction=True)
def test_two_workers_never_work_on_one_batch_together():
    batch = received(an_office(), csv_file(line(1)))
    other = connection.copy()
    with other.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_lock(%s, %s)", [batches.LOCK_SPACE, batch.pk])

        preview(batch)
        assert batch.state == "reading"

        cursor.execute("SELECT pg_advisory_unlock(%s, %s)", [batches.LOCK_SPACE, batch.pk])
    other.close()

    preview(batch)
    assert batch.state == "preview"
