"""`python -m calculations loft.json`: what it says of heat, damp and cables."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from calculations.__main__ import main
from calculations.heat import ceiling_area_m2
from calculations.savings import yearly_saving
from tests.calculations.sample_lofts import ELL


@pytest.fixture
def loft_file(tmp_path: Path) -> str:
    path = tmp_path / "loft.json"
    shallow = replace(ELL, roof=replace(ELL.roof, rafter_depth_mm=75))
    path.write_text(json.dumps(shallow.to_dict()), "utf-8")
    return str(path)


def test_it_says_what_is_saved_where_it_is_damp_and_which_cables_matter(
    loft_file: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([loft_file, "--seconds", "0", "--region", "highland"]) == 0
    said = capsys.readouterr().out
    assert "SAP table U1, Highland" in said
    assert "not a promise" in said
    assert "Damp warning, Front wing: eaves" in said
    assert "it must lie on top" in said


def test_the_saving_is_that_of_the_library(
    loft_file: str, capsys: pytest.CaptureFixture[str]
) -> None:
    main([loft_file, "--seconds", "0", "--json"])
    found = json.loads(capsys.readouterr().out)
    saving = yearly_saving(found["u_before"], found["u_after"], ceiling_area_m2(ELL), "thames")
    main([loft_file, "--seconds", "0", "--region", "thames"])
    assert f"Saves {saving.kwh_low:.0f} to {saving.kwh_high:.0f} kWh" in capsys.readouterr().out


def test_a_region_that_is_not_one_is_refused(
    loft_file: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stopped:
        main([loft_file, "--region", "atlantis"])
    assert stopped.value.code == 2
    assert "uk_average" in capsys.readouterr().err


def test_a_reader_that_has_had_enough_is_no_error() -> None:
    reading, writing = os.pipe()
    os.close(reading)
    ended = subprocess.run(
        [sys.executable, "-m", "calculations", "--example"],
        stdout=writing,
        stderr=subprocess.PIPE,
        check=False,
    )
    os.close(writing)
    assert ended.stderr == b""
    assert ended.returncode == 0


def test_the_example_can_be_quantified_with_its_cut_list_and_drawings(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["--example"])
    path = tmp_path / "loft.json"
    path.write_text(capsys.readouterr().out, "utf-8")
    folder = tmp_path / "drawings"
    asked = [str(path), "--seconds", "0", "--cut-list", "--drawings", str(folder)]
    assert main([*asked, "--price", "0.06", "0.08"]) == 0
    said = capsys.readouterr().out
    assert "  1  Main, layer 1, eaves" in said
    assert "Notch round the rafters at the eaves: strips" in said
    assert "kg CO2e" in said and "GBP" in said
    assert {p.name for p in folder.iterdir()} == {"survey.svg", "layer-1.svg", "layer-2.svg"}


def test_a_file_that_is_no_loft_is_refused_with_what_it_is(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "loft.json"
    path.write_text("Main 6 x 7 m", "utf-8")
    assert main([str(path)]) == 2
    assert "loft.json is not JSON" in capsys.readouterr().err
    path.write_text("[1]", "utf-8")
    assert main([str(path)]) == 2
    assert "loft: [1] is not an object" in capsys.readouterr().err
