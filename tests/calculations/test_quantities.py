"""Quantities of a whole loft: complete, storable, honest about what is proved."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from benchmarks.random_lofts import random_loft
from calculations import ENGINE_VERSION
from calculations.__main__ import main
from calculations.catalogue import INVENTED_CATALOGUE, roll_by_code
from calculations.loft import Condition, Loft, LoftArea, LoftError
from calculations.quantities import quantify, quantities_from_dict
from calculations.stacks import Target

OUTLINE = ((0, 0), (8000, 0), (8000, 6000), (0, 6000))


def plain_loft(existing_mm: float = 0.0, condition: Condition = Condition.KEEP) -> Loft:
    area = LoftArea("Main", OUTLINE, 400, 100, 50, 90, existing_mm, condition, eaves_edges=(0, 2))
    return Loft((area,))


@pytest.mark.parametrize("seed", range(12))
def test_quantities_survive_json(seed: int) -> None:
    found = quantify(random_loft(seed), Target(depth_mm=270), seconds=0)
    assert quantities_from_dict(json.loads(json.dumps(found.to_dict()))) == found


@pytest.mark.parametrize("seed", range(12))
def test_wool_is_accounted_for(seed: int) -> None:
    found = quantify(random_loft(seed), Target(depth_mm=300), seconds=0)
    for roll in found.rolls:
        kind = roll_by_code(INVENTED_CATALOGUE, roll.roll)
        assert roll.laid_area_m2 + roll.waste_m2 == pytest.approx(
            roll.count * kind.area_m2, abs=1e-3
        )
        assert roll.waste_m2 >= 0
        assert {s.from_roll for s in found.strips if s.roll == roll.roll} == set(
            range(1, roll.count + 1)
        )
    volume = sum(
        r.count * roll_by_code(INVENTED_CATALOGUE, r.roll).packed_volume_m3 for r in found.rolls
    )
    assert found.packed_volume_m3 == pytest.approx(volume, abs=1e-3)
    laid_m2 = sum(waste.laid_m2 for waste in found.area_waste)
    assert laid_m2 == pytest.approx(sum(roll.laid_area_m2 for roll in found.rolls), abs=1e-2)
    assert all(waste.waste_m2 > -1e-3 for waste in found.area_waste)


def test_waste_by_area_is_what_is_trimmed_off_its_strips() -> None:
    """By hand: bays of 350 mm are laid with perforated strips of 380 mm, 30 mm of each squeezed or
    trimmed off; the strips across are whole."""
    loft = plain_loft()
    found = quantify(loft, Target(depth_mm=270), seconds=0)
    (waste,) = found.area_waste
    between = [strip for strip in found.strips if strip.layer == 1]
    assert waste.area == loft.areas[0].name
    cut_m2 = sum(s.length_mm * s.width_mm for s in found.strips) / 1e6
    assert waste.cut_m2 == pytest.approx(cut_m2, abs=1e-3)
    snug_m2 = sum(s.length_mm * 30 for s in between if s.width_mm == 380) / 1e6
    assert snug_m2 > 0
    assert waste.waste_m2 >= snug_m2 - 1e-3


def test_more_wool_lets_less_heat_through() -> None:
    found = quantify(plain_loft(50), Target(depth_mm=270), seconds=0)
    assert found.u_after < 0.25 < found.u_before
    assert found.resulting_depth_mm["Main"] >= 270
    assert found.engine_version == ENGINE_VERSION


def test_a_loft_that_is_deep_enough_gets_nothing() -> None:
    found = quantify(plain_loft(300), Target(depth_mm=270), seconds=0)
    assert found.rolls == () and found.strips == () and found.layers == ()
    assert "nothing is added" in found.explanation[0]


def test_removed_wool_counts_for_nothing() -> None:
    found = quantify(plain_loft(300, Condition.REMOVE), Target(depth_mm=270), seconds=0)
    assert found.rolls
    assert found.u_before < found.u_after + 0.2


def test_catalogue_of_the_company_is_used() -> None:
    only = tuple(roll for roll in INVENTED_CATALOGUE if roll.code in ("F100", "F200"))
    found = quantify(plain_loft(), Target(u_value_w_m2k=0.16), only, seconds=0)
    assert {roll.roll for roll in found.rolls} <= {"F100", "F200"}


def test_bad_catalogue_and_target_are_refused() -> None:
    with pytest.raises(LoftError, match="catalogue: is empty"):
        quantify(plain_loft(), Target(depth_mm=270), ())
    with pytest.raises(LoftError, match="used twice"):
        quantify(plain_loft(), Target(depth_mm=270), INVENTED_CATALOGUE[:1] * 2)
    with pytest.raises(LoftError, match="one aim"):
        Target()
    with pytest.raises(LoftError, match="not both"):
        Target(depth_mm=270, u_value_w_m2k=0.16)


def test_command_line_prints_quantities(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = str(tmp_path / "loft.json")
    (tmp_path / "loft.json").write_text(json.dumps(plain_loft().to_dict()), encoding="utf-8")
    assert main([path, "--seconds", "0"]) == 0
    assert "Wool 100 (invented)" in capsys.readouterr().out
    assert main([path, "--seconds", "0", "--json"]) == 0
    assert quantities_from_dict(json.loads(capsys.readouterr().out)).rolls
    assert main([str(tmp_path / "missing.json")]) == 2
    assert "Cannot quantify" in capsys.readouterr().err


def test_command_line_gives_an_example_that_it_can_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["--example"]) == 0
    path = tmp_path / "loft.json"
    path.write_text(capsys.readouterr().out, encoding="utf-8")
    assert main([str(path), "--u-value", "0.16", "--seconds", "0"]) == 0
    assert "target 0.16 W/m2K" in capsys.readouterr().out


def test_command_line_names_the_place_of_a_fault(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = plain_loft().to_dict()
    data["areas"][0]["outline_mm"][1] = [8000]  # type: ignore[index]
    path = tmp_path / "loft.json"
    path.write_text(json.dumps(data), encoding="utf-8")
    assert main([str(path)]) == 2
    assert "areas[0].outline_mm[1]" in capsys.readouterr().err
    assert main([]) == 2
