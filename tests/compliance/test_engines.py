"""Engines of the past answer as they did, and the present one only changes with its version."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from calculations import ENGINE_VERSION
from compliance import judging
from compliance.assess import assess_job, rerun
from compliance.engines import engine_at_hand, engine_of, judging_by, known_versions
from compliance.engines.keep import CannotKeep, engine_modules, keep_engine
from compliance.models import Assessment
from tests.compliance.engine_cases import answers_changed, frozen, frozen_versions
from tests.compliance.scene import fitted

WHAT_TO_DO = (
    "Verdicts changed without a new ENGINE_VERSION. Undo the change, keep the engine with "
    "`python -m compliance.engines.keep`, make the change again, raise ENGINE_VERSION, and freeze "
    "its answers with `python -m tests.compliance.engine_cases`."
)


@pytest.mark.parametrize("version", frozen_versions())
def test_every_engine_that_ever_shipped_is_kept_and_answers_as_it_did(version: str):
    engine = engine_of(version)

    assert engine is not None, f"Engine {version} judged assessments and is not kept any more."
    assert answers_changed(version, engine) == [], WHAT_TO_DO


def test_the_answers_of_the_present_engine_are_frozen():
    assert ENGINE_VERSION in frozen_versions(), WHAT_TO_DO
    verdicts = [case["verdict"] for case in frozen(ENGINE_VERSION)]
    assert all(verdicts.count(verdict) >= 5 for verdict in ("meets", "short", "unproven"))


def test_a_small_change_of_the_arithmetic_is_noticed(monkeypatch: pytest.MonkeyPatch):
    check = judging._photo_check

    def one_photo_more(evidence: Any, moment: str, least: int) -> Any:
        return check(evidence, moment, least + 1)

    monkeypatch.setattr(judging, "_photo_check", one_photo_more)

    assert len(answers_changed(ENGINE_VERSION, judging_by(judging))) > 20


def test_an_engine_is_kept_whole_and_stands_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    folder = keep_engine(tmp_path, "0.9.9")
    monkeypatch.syspath_prepend(str(tmp_path))
    before = set(sys.modules)

    kept = importlib.import_module("v0_9_9.judging")
    changed = answers_changed(ENGINE_VERSION, judging_by(kept))

    assert changed == []
    loaded = set(sys.modules) - before
    assert {name for name in loaded if name.startswith("v0_9_9.calculations.")} >= {
        f"v0_9_9.{module}" for module in engine_modules() if module.startswith("calculations.d")
    }
    texts = [file.read_text() for file in folder.rglob("*.py")]
    assert not [one for one in texts if "from calculations" in one or "from compliance" in one]
    with pytest.raises(CannotKeep, match="is kept already"):
        keep_engine(tmp_path, "0.9.9")


def stricter(inputs: Mapping[str, Any]) -> dict[str, Any]:
    """An engine of another day: whatever was found, it says that it is short."""
    return {**judging_by(judging)(inputs), "verdict": "short"}


@pytest.mark.django_db
def test_an_assessment_is_judged_again_by_the_engine_that_judged_it():
    present = assess_job(fitted().job.pk)
    earlier = Assessment(
        job=present.job, number=2, rule=present.rule, engine_version="0.5.0", verdict="short",
        inputs=present.inputs, inputs_sha256=present.inputs_sha256,
        arithmetic=stricter(present.inputs),
    )  # fmt: skip

    with engine_at_hand("0.5.0", stricter):
        assert known_versions()[0] == "0.5.0"
        assert (rerun(present).agrees, rerun(earlier).agrees) == (True, True)
        assert "Engine 0.5.0, kept from then, gives the same verdict" in rerun(earlier).in_words
        earlier.arithmetic = present.arithmetic
        assert rerun(earlier).agrees is False

    gone = rerun(earlier)
    assert (gone.agrees, gone.engine_now) == (None, ENGINE_VERSION)
    assert "not kept here" in gone.in_words
