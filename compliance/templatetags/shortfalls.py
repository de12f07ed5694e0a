"""What templates say of shortfalls."""

from __future__ import annotations

from django import template

from compliance.digest import takes_in_words
from compliance.models import Shortfall
from jobs.call_backs import call_back_needs

register = template.Library()


@register.simple_tag
def takes_along(shortfall: Shortfall) -> str:
    """What puts an open shortfall right, by the engine; empty where nothing is to be laid."""
    if shortfall.closed_at is not None:
        return ""
    return takes_in_words(call_back_needs([shortfall.job_id]).get(shortfall.job_id))
