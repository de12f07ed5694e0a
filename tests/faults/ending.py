"""Crews that end jobs, and what is to be true of the certificates in the end."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.faults.crews import HANDOVERS, READINGS, Crew
from tests.faults.stack import Stack

PATIENCE_S = 120.0
CATCH_UP_S = 60.0
"""So long without a further certificate, and the rest counts as lost."""


@dataclass
class Outcome:
    jobs: list[int]
    lost: list[int]
    doubled: list[str]
    wrong: list[str]
    forgotten: list[str]
    not_sealed: list[str]


def stop_crews(crews: list[Crew]) -> None:
    """Each ends the job in hand. Raises AssertionError for an answer that should not be."""
    crews[0].finish.set()
    for crew in crews:
        crew.thread.join(PATIENCE_S)
    wrong = [wrong for crew in crews for wrong in crew.wrong]
    assert not wrong, f"a crew was told something wrong: {wrong}"
    assert not any(crew.thread.is_alive() for crew in crews), "a crew still sends"


def outcome(stack: Stack, crews: list[Crew], catch_up_s: float = CATCH_UP_S) -> Outcome:
    """What became of the ended jobs, once the beat had time to catch up."""
    told = told_to(stack.watch / "ended.json", crews)
    stack.call("tests.faults.certified", "wait", str(told), str(catch_up_s))
    stack.stop_all()
    found = stack.told_by("tests.faults.certified", "judge", str(told))
    return Outcome(jobs=[job for crew in crews for job in crew.ended], **found)


def told_to(path: Path, crews: list[Crew]) -> Path:
    said: dict[str, Any] = {
        "jobs": [job for crew in crews for job in crew.ended],
        "keys": {
            "readings": [key for crew in crews for key in crew.keys[READINGS]],
            "handovers": [key for crew in crews for key in crew.keys[HANDOVERS]],
        },
    }
    path.write_text(json.dumps(said), encoding="utf-8")
    return path
