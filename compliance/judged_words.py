"""Words of the crew beside a verdict: they stand in their own rows, where an erasure takes them.

Verdicts name steps and handovers by number and repeat none of their words. Older ones repeat them,
in their inputs and sentences; those stay as they were judged, and are judged again to the letter.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from compliance.judging import STEP_TITLES
from compliance.models import Assessment
from jobs.evidence.engine_words import zones_in_plural
from jobs.models import WorkStep


def without_words(inputs: Mapping[str, Any]) -> dict[str, Any]:
    """Stored inputs as they are gathered today: without what was noted or given as a reason."""
    plain = dict(inputs)
    steps, handover = plain.get("work_steps"), plain.get("handover")
    if steps:
        plain["work_steps"] = {step: _without(row, "note") for step, row in steps.items()}
    if handover:
        plain["handover"] = _without(handover, "not_done_reason")
    return plain


def _without(row: Mapping[str, Any] | None, word: str) -> dict[str, Any] | None:
    return None if row is None else {key: value for key, value in row.items() if key != word}


def repeats_words(inputs: Mapping[str, Any]) -> bool:
    """Whether stored inputs hold words of the crew, which no erasure takes out of them."""
    steps = (inputs.get("work_steps") or {}).values()
    notes = [row.get("note") for row in steps if row]
    return any([*notes, (inputs.get("handover") or {}).get("not_done_reason")])


def missing_told(assessment: Assessment) -> list[str]:
    """What is missing, a step left undone with its reason as that stands today: it may be erased.

    Takes one query where a step was left undone, none otherwise.
    """
    steps = assessment.inputs.get("work_steps") or {}
    undone = {
        f"The step “{STEP_TITLES.get(step, step)}” was left undone": row["id"]
        for step, row in steps.items()
        if row and row["outcome"] == WorkStep.Outcome.NOT_DONE
    }
    notes = dict(WorkStep.objects.filter(pk__in=undone.values()).values_list("pk", "note"))
    told = []
    for sentence in assessment.missing:
        begins = next((said for said in undone if sentence.startswith(said)), None)
        note = notes.get(undone[begins], "") if begins else ""
        told.append(f"{begins}: {note.rstrip('.')}." if note else zones_in_plural(sentence))
    return told
