"""Words for the planner's pages."""

from __future__ import annotations

from collections.abc import Iterable

from django import template

from jobs.models import Skill

register = template.Library()


@register.filter
def skill_words(skills: Iterable[str]) -> str:
    """Skills by their names, such as “Loft insulation, Surveying”; “none recorded” for none."""
    return ", ".join(Skill(skill).label for skill in skills) or "none recorded"
