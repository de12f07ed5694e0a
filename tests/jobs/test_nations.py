"""A nation that cannot be right for the postcode area is refused; near a border one confirms."""

from __future__ import annotations

import pytest

from jobs.errors import Refused
from jobs.intake.nations import AREA_NATIONS, check_nation, straddles_border

STRADDLING = ("CA", "CH", "DG", "HR", "LD", "LL", "NE", "NP", "SY", "TD")


@pytest.mark.parametrize(
    ("postcode", "nation", "field", "said"),
    [
        ("LE1 1AA", "scotland", "nation", "is in England, not in Scotland"),
        ("EH8 8DX", "england", "nation", "is in Scotland, not in England"),
        ("BT4 3XX", "wales", "nation", "is in Northern Ireland, not in Wales"),
        ("CF10 1EP", "england", "nation", "is in Wales, not in England"),
        ("TD15 1AA", "wales", "nation", "is in England or Scotland, not in Wales"),
        ("LL57 1AA", "scotland", "nation", "is in England or Wales, not in Scotland"),
        ("JE2 3AB", "england", "postcode", "Jersey"),
        ("BX1 1LT", "england", "postcode", "not for homes"),
        ("XZ1 1AA", "england", "postcode", "There is no postcode area XZ"),
        ("CH7 1AA", "wales", "nation_confirmed", "both sides of a border"),
    ],
)
def test_what_cannot_be_right_names_field_and_remedy(postcode, nation, field, said):
    with pytest.raises(Refused, match=said) as refusal:
        check_nation(postcode, nation, confirmed=False)

    assert refusal.value.field == field
    assert refusal.value.remedy


@pytest.mark.parametrize("area", STRADDLING)
def test_an_area_on_a_border_takes_either_nation_once_confirmed(area):
    postcode = f"{area}1 1AA"

    assert straddles_border(postcode)
    for nation in AREA_NATIONS[area]:
        check_nation(postcode, nation, confirmed=True)


def test_only_the_areas_on_a_border_ask_for_confirmation():
    assert {area for area in AREA_NATIONS if straddles_border(f"{area}1 1AA")} == set(STRADDLING)


def test_confirming_does_not_make_a_wrong_nation_right():
    with pytest.raises(Refused, match="not in Scotland"):
        check_nation("LE1 1AA", "scotland", confirmed=True)
