"""A supplier's list taken in: all its rows, or none."""

from __future__ import annotations

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from jobs.errors import Refused
from jobs.models import CompanyRollType
from jobs.roll_sheets import RowsRefused, take_in_roll_types, template_file
from tests.factories import CompanyRollTypeFactory
from tests.jobs.planner_scene import signed_in

pytestmark = pytest.mark.django_db
HEAD = "Code,Name,Thickness,Width mm,Length mm,Lambda,Price,Packed volume"
ROW = "O100,Own wool 100,100,1140,8000,0.044,26.40,0.19"
THICK = "O170,Own wool 170,170,1140,5000,0.044,27.10,0.19"


def taken(office, *rows, head=HEAD):
    file = io.BytesIO("\n".join([head, *rows]).encode())
    return take_in_roll_types(office.company, file, "list.csv", by=office.planner)


def test_new_rows_are_entered_and_known_codes_are_changed(office):
    CompanyRollTypeFactory(company=office.company, code="O170", splits=[2], is_active=False)
    CompanyRollTypeFactory(code="O170", cost=99.0)

    assert taken(office, ROW, THICK) == ["O100", "O170"]

    kept = {roll.code: roll for roll in office.company.roll_types.all()}
    assert (kept["O100"].cost, kept["O170"].cost) == (26.4, 27.1)
    assert kept["O170"].splits == [2] and kept["O170"].is_active
    assert CompanyRollType.objects.get(cost=99.0).version == 1


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_the_template_is_taken_in_as_it_is(office, kind):
    file = io.BytesIO(template_file(kind))

    assert take_in_roll_types(office.company, file, f"t.{kind}", by=office.planner) == ["W170"]
    assert office.company.roll_types.get().splits == [2, 3]


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        ((ROW, THICK.replace("0.044", "44")), {3: "44 mW/mK is 0.044"}),
        ((ROW, THICK.replace("27.10", "")), {3: "cost: The cell is empty"}),
        ((ROW.replace("1140", "1,14 m"), THICK), {2: "is no number"}),
        ((ROW, ROW), {3: "O100 stands in this file twice"}),
        ((ROW.replace("8000", "8"), THICK.replace("5000", "5")), {2: "5 m is 5000", 3: "5000"}),
    ],
)
def test_a_bad_row_keeps_all_of_them_out_and_is_named(office, rows, told):
    rows = [row.replace("1,14 m", '"1,14 m"') for row in rows]
    with pytest.raises(RowsRefused) as refusal:
        taken(office, *rows)

    assert refusal.value.problems.keys() == told.keys()
    for row, words in told.items():
        assert words in refusal.value.problems[row]
    assert not CompanyRollType.objects.exists()


def test_a_list_without_a_column_or_a_row_says_so(office):
    with pytest.raises(Refused, match="no column packed_volume_m3"):
        taken(office, ROW.rpartition(",")[0], head=HEAD.rpartition(",")[0])
    with pytest.raises(Refused, match="no roll type below"):
        taken(office)


def test_the_page_takes_a_file_and_tells_of_bad_rows(office):
    planner, address = signed_in(office.planner), reverse("roll_type_take_in")

    def sent(*rows):
        file = SimpleUploadedFile("list.csv", "\n".join([HEAD, *rows]).encode())
        return planner.post(address, {"file": file})

    refused = sent(ROW, THICK.replace("170,1140", "17,1140"))
    assert refused.status_code == 422
    assert "Row 3: thickness_mm" in refused.text and "17 cm is 170" in refused.text
    assert sent(ROW, THICK).url == reverse("roll_type_list")
    assert planner.get(reverse("roll_type_template", args=["pdf"])).status_code == 404
