"""Roll types as data: read, refused with the field named, found by code."""

from __future__ import annotations

import json

import pytest

from calculations.catalogue import (
    INVENTED_CATALOGUE,
    RollType,
    roll_by_code,
    roll_type_from_dict,
)
from calculations.loft import LoftError

GOOD: dict[str, object] = {
    "code": "W100",
    "name": "Wool 100",
    "thickness_mm": 100,
    "width_mm": 1140,
    "length_mm": 8050,
    "conductivity_w_mk": 0.044,
    "splits": [2, 3],
    "cost": 26.0,
    "packed_volume_m3": 0.19,
}


def test_a_roll_type_survives_json() -> None:
    roll = roll_type_from_dict(GOOD)
    assert roll_type_from_dict(json.loads(json.dumps(roll.to_dict()))) == roll


def test_area_and_perforated_widths() -> None:
    roll = roll_type_from_dict(GOOD)
    assert roll.area_m2 == pytest.approx(9.177)
    assert roll.split_widths_mm == (1140, 570, 380)


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("code", " ", "empty"),
        ("thickness_mm", 5, "outside"),
        ("width_mm", "wide", "not a number"),
        ("length_mm", 8.05, "outside 1000"),
        ("conductivity_w_mk", 44, "outside"),
        ("cost", -1, "outside"),
        ("splits", [1], "no split"),
    ],
)
def test_a_bad_roll_type_names_the_field(field: str, value: object, says: str) -> None:
    with pytest.raises(LoftError, match=says) as caught:
        roll_type_from_dict(GOOD | {field: value})
    assert caught.value.path.startswith(field)


def test_missing_and_unknown_fields_are_refused() -> None:
    with pytest.raises(LoftError, match="length_mm: is missing"):
        roll_type_from_dict({k: v for k, v in GOOD.items() if k != "length_mm"})
    with pytest.raises(LoftError, match="colour: is not a field"):
        roll_type_from_dict(GOOD | {"colour": "pink"})


def test_a_code_that_is_not_there_says_which_are() -> None:
    with pytest.raises(KeyError, match="W100"):
        roll_by_code(INVENTED_CATALOGUE, "none")


def test_the_demonstration_catalogue_says_that_it_is_invented() -> None:
    assert all(isinstance(roll, RollType) for roll in INVENTED_CATALOGUE)
    assert all("invented" in roll.name for roll in INVENTED_CATALOGUE)
    assert len({roll.code for roll in INVENTED_CATALOGUE}) == len(INVENTED_CATALOGUE)
