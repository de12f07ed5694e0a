"""manage.py take_in: the same intake from the command line."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from jobs.models import Job
from tests.jobs.intake_files import csv_file, line
from tests.jobs.planner_scene import Office, an_office

pytestmark = pytest.mark.django_db


def run(office: Office, file: Path, *options: str) -> str:
    out = io.StringIO()
    given = ["--company", office.company.slug, "--scheme", office.scheme.code, *options]
    call_command("take_in", str(file), *given, stdout=out)
    return out.getvalue()


@pytest.fixture
def homes(tmp_path):
    file = tmp_path / "homes.csv"
    file.write_bytes(csv_file(line(1), line(2, postcode="LE1"), line(3)).getvalue())
    return file


def test_good_rows_are_taken_in_and_bad_ones_told(homes, tmp_path):
    out = run(an_office(), homes, "--rejected", str(tmp_path / "mend.csv"))

    assert "row 3, postcode:" in out
    assert "3 rows: 2 taken in, 0 good, 0 known already, 1 to mend." in out
    assert Job.objects.count() == 2
    assert "H-2" in (tmp_path / "mend.csv").read_text("utf-8-sig")


def test_a_preview_takes_nothing_in(homes):
    out = run(an_office(), homes, "--preview")

    assert "2 good" in out
    assert not Job.objects.exists()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--company", "nobody"], "--company: there is no “nobody”"),
        (["--scheme", "nothing"], "--scheme: there is no “nothing”"),
        (["--by", "stranger@example.test"], "--by: name a planner"),
    ],
)
def test_a_wrong_option_says_what_there_is(homes, options, said):
    with pytest.raises(CommandError, match=said):
        run(an_office(), homes, *options)


def test_a_missing_file_is_told(tmp_path):
    with pytest.raises(CommandError, match=r"gone\.csv"):
        run(an_office(), tmp_path / "gone.csv")
