"""The round sheet as a paper."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.utils import timezone

from jobs.papers.typesetting import typeset, with_packaged_font
from jobs.papers.words import count_words, drive_words, with_sign
from jobs.rounds.round_sheet import RoundSheet, RoundStop


def round_sheet_pdf(sheet: RoundSheet, *, made_at: datetime) -> bytes:
    """A tagged PDF of the round as this person sees it, drawings included."""
    return typeset("round_sheet.typ", round_contents(sheet), made_at=timezone.localtime(made_at))


def round_contents(sheet: RoundSheet) -> dict[str, Any]:
    crew = sheet.crew
    return {
        "crew": crew.name,
        "company": crew.company.name,
        "invented": crew.company.is_invented,
        "day": f"{sheet.day:%A} {sheet.day.day} {sheet.day:%B %Y}",
        "short_day": f"{sheet.day.day} {sheet.day:%b %Y}",
        "begins_at": sheet.begins_at,
        "drive": drive_words(sheet.drive),
        "drives_note": sheet.drives_note,
        "load_count": sheet.load_count,
        "whole": sheet.whole,
        "stops": [_stop(stop) for stop in sheet.stops],
    }


def _stop(stop: RoundStop) -> dict[str, Any]:
    home = stop.visit.job.property
    return {
        "number": stop.number,
        "kind": stop.visit.get_kind_display(),
        "from": f"{stop.starts_at:%H:%M}",
        "until": f"{stop.ends_at:%H:%M}",
        "drive": drive_words(stop.drive) if stop.drive else "not known",
        "address": home.address,
        "street": home.address_line_1,
        "reference": stop.visit.job.reference,
        "contact": [part for part in (home.householder_name, home.householder_phone) if part],
        "operatives": list(stop.operatives),
        "hazards": list(stop.hazards),
        "access": list(stop.access),
        "rolls": [f"{line.name}: {count_words(line.quantity, line.unit)}" for line in stop.rolls],
        "loads": list(stop.loads),
        "back": list(stop.back),
        "checks": [
            {
                "name": line.name,
                "reason": with_sign(line.reason),
                "caution": with_sign(line.caution),
            }
            for line in stop.checks
        ],
        "warnings": [with_sign(sentence) for sentence in stop.warnings],
        "target_mm": stop.target_depth_mm,
        "drawings": [
            {"title": d.title, "sentence": d.sentence, "svg": with_packaged_font(d.svg)}
            for d in stop.drawings
        ],
    }
