"""Every answer about a home is judged, and every problem told at once."""

from __future__ import annotations

from datetime import date, datetime

import pytest

from jobs.intake.values import read_values

GOOD = {
    "reference": " H-1 ",
    "address_line_1": "1  Example   Row",
    "town": "Sampleton",
    "postcode": "le11aa",
    "nation": "England",
}


def test_answers_are_tidied():
    values, problems = read_values(GOOD | {"latitude_deg": "52.6", "longitude_deg": "-1.1"})

    assert problems == ()
    assert (values.reference, values.address_line_1) == ("H-1", "1 Example Row")
    assert (values.postcode, values.nation) == ("LE1 1AA", "england")
    assert (values.latitude_deg, values.longitude_deg) == (52.6, -1.1)


@pytest.mark.parametrize(
    ("given", "field", "said"),
    [
        ({"reference": ""}, "reference", "missing"),
        ({"town": "  "}, "town", "missing"),
        ({"reference": "R" * 41}, "reference", "41 characters"),
        ({"postcode": ""}, "postcode", "missing"),
        ({"postcode": "nowhere"}, "postcode", "form of a UK postcode"),
        ({"nation": "Ireland"}, "nation", "not a nation"),
        ({"nation": ""}, "nation", "missing"),
        ({"nation": "Scotland"}, "nation", "not in Scotland"),
        ({"nation_confirmed": "perhaps"}, "nation_confirmed", "neither yes nor no"),
        ({"latitude_deg": "north"}, "latitude_deg", "not a number"),
        ({"latitude_deg": "nan", "longitude_deg": "0"}, "latitude_deg", "outside"),
        ({"latitude_deg": "-1.1", "longitude_deg": "52.6"}, "latitude_deg", "outside"),
        ({"latitude_deg": "52.6"}, "longitude_deg", "Half a position"),
        ({"householder_email": "who"}, "householder_email", "not an e-mail"),
        ({"due_on": "31/02/2027"}, "due_on", "not a date"),
    ],
)
def test_a_wrong_answer_names_its_field(given, field, said):
    values, problems = read_values(GOOD | given)

    assert values is None
    assert field in [problem.field for problem in problems]
    assert said in " ".join(problem.message for problem in problems)


def test_all_problems_of_a_row_are_told_together():
    _, problems = read_values({"reference": "H-1", "postcode": "x", "nation": "y"})

    assert {p.field for p in problems} == {"address_line_1", "town", "postcode", "nation"}


@pytest.mark.parametrize(
    "written",
    [
        "2027-03-31",
        "31/03/2027",
        "31.03.2027",
        "31 Mar 2027",
        datetime(2027, 3, 31),
        "31 March 2027",
    ],
)
def test_a_date_is_read_as_it_is_written_in_these_islands(written):
    values, _ = read_values(GOOD | {"due_on": written})

    assert values.due_on == date(2027, 3, 31)


@pytest.mark.parametrize("written", ["northern ireland", "Northern_Ireland", " NORTHERN  IRELAND "])
def test_capitals_and_underscores_of_a_nation_make_no_difference(written):
    values, _ = read_values(GOOD | {"nation": written, "postcode": "BT4 3XX"})

    assert values.nation == "northern_ireland"
