"""The load list as a paper that lies in the van."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.utils import timezone

from jobs.loading.cautions import LOADING_CAUTIONS
from jobs.loading.load_lines import LoadLine
from jobs.loading.load_list import Load, LoadList, LoadPart
from jobs.papers.typesetting import typeset
from jobs.papers.words import count_words, with_sign


def load_list_pdf(found: LoadList, *, made_at: datetime) -> bytes:
    """A tagged PDF of the load list as this person sees it, with boxes to tick."""
    return typeset("load_list.typ", load_list_contents(found), made_at=timezone.localtime(made_at))


def load_list_contents(found: LoadList) -> dict[str, Any]:
    return {
        "crew": found.crew.name,
        "company": found.crew.company.name,
        "invented": found.crew.company.is_invented,
        "day": f"{found.day:%A} {found.day.day} {found.day:%B %Y}",
        "short_day": f"{found.day.day} {found.day:%b %Y}",
        "van": found.van.name if found.van else "",
        "van_m3": found.van.load_volume_m3 if found.van else None,
        "depot": found.depot.name if found.depot else "",
        "depot_address": _address(found),
        "volume_m3": found.packed_volume_m3,
        "whole": found.whole,
        "loads": [_load(load) for load in found.loads],
        "checks": [
            {"where": visit.job.property.address_line_1, **_line(line)}
            for visit, line in found.checks
        ],
        "without_plan": [visit.job.property.address_line_1 for visit in found.without_plan],
        "cautions": [
            {"title": c.title, "text": c.text, "source": c.source} for c in LOADING_CAUTIONS
        ],
    }


def _address(found: LoadList) -> str:
    depot = found.depot
    return ", ".join(part for part in (depot.address, depot.postcode) if part) if depot else ""


def _load(load: Load) -> dict[str, Any]:
    record = load.record
    taken = {line["item"]: line for line in record.lines} if record else {}
    lines = [_line(line, taken) for line in load.lines]
    rolls, accessories = len(load.rolls), len(load.accessories)
    worn = rolls + accessories + len(load.protection)
    return {
        "number": load.number,
        "volume_m3": load.volume_m3,
        "marked": _marked(record),
        "groups": [
            {"title": title, "lines": group}
            for title, group in (
                ("Rolls", lines[:rolls]),
                ("Accessories", lines[rolls : rolls + accessories]),
                ("Protective equipment", lines[rolls + accessories : worn]),
                ("Tools", lines[worn:]),
            )
            if group
        ],
        "parts": [_part(part) for part in load.parts],
    }


def _marked(record: Any) -> str:
    if record is None:
        return ""
    at = timezone.localtime(record.loaded_at)
    return f"On the van: marked by {record.loaded_by}, {at:%a} {at.day} {at:%b %H:%M}"


def _line(line: LoadLine, taken: dict[str, Any] | None = None) -> dict[str, Any]:
    kept = (taken or {}).get(line.item)
    return {
        "name": line.name,
        "count": count_words(line.quantity, line.unit),
        "caution": with_sign(line.caution),
        "reason": with_sign(line.reason[:1].upper() + line.reason[1:]),
        "held": line.held,
        "missing": line.missing,
        "loaded": kept["loaded"] if kept else None,
        "why": kept["reason"] if kept else "",
    }


def _part(part: LoadPart) -> dict[str, Any]:
    visit = part.visit
    return {
        "time": f"{timezone.localtime(visit.during.lower):%H:%M}",
        "address": visit.job.property.address,
        "reference": visit.job.reference,
        "call_back": visit.kind == visit.Kind.CALL_BACK,
        "rolls": _told(part.rolls),
        "accessories": _told(part.accessories),
    }


def _told(lines: Iterable[LoadLine]) -> list[str]:
    return [f"{line.name}: {count_words(line.quantity, line.unit)}" for line in lines]
