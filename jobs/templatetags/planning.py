"""Words for the planner's pages."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from urllib.parse import urlencode

from django import template
from django.urls import reverse

from jobs.models import Absence, Skill
from jobs.planning.absences import spell_absence
from jobs.planning.board_parts import Board
from jobs.planning.spelling import spell_length, spell_minutes, spell_skills

register = template.Library()
register.filter("spell_length", spell_length)
register.filter("spell_minutes", spell_minutes)
register.filter("spell_skills", spell_skills)


@register.filter
def skill_words(skills: Iterable[str]) -> str:
    """Skills by their names, such as “Loft insulation, Surveying”; “none recorded” for none."""
    return ", ".join(Skill(skill).label for skill in skills) or "none recorded"


@register.filter
def absence_words(absence: Absence) -> str:
    """When somebody is away, whole days as days."""
    return spell_absence(absence.during.lower, absence.during.upper)


@register.filter
def district(postcode: str) -> str:
    """The first half of a postcode, such as LE1 of “LE1 1AA”."""
    return postcode.partition(" ")[0]


@register.simple_tag
def board_url(first: date, count: int, crew: int | None = None, run: int | None = None) -> str:
    """The planning board from a day on; with a crew, that crew's row; with a run, its proposals."""
    page = reverse("planning") if crew is None else reverse("planning_row", args=[crew])
    asked: dict[str, object] = {"from": first.isoformat(), "days": count}
    return f"{page}?{urlencode(asked | ({'run': run} if run else {}))}"


@register.simple_tag
def map_url(day: date, board: Board) -> str:
    """The map of a day, which offers the board's other days."""
    page = reverse("planning_map", args=[day])
    return f"{page}?{urlencode({'from': board.first.isoformat(), 'days': board.count})}"


@register.filter
def add_to(number: float, other: float | str) -> float:
    """A place in a drawing, moved: `add` of the templates knows whole numbers only."""
    return round(float(number) + float(other), 1)
