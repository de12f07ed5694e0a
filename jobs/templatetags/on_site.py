"""What the on-site pages hand to their scripts."""

from __future__ import annotations

from django import template
from django.utils.html import json_script
from django.utils.safestring import SafeString

from jobs.evidence.engine_words import zones_in_plural
from jobs.evidence.phone_rules import phone_rules
from jobs.evidence.site_record import SiteRecord

register = template.Library()


@register.filter
def engine_words(sentence: str) -> str:
    """A sentence of the engine as pages tell it."""
    return zones_in_plural(sentence)


@register.simple_tag
def depth_rules(record: SiteRecord) -> SafeString | str:
    """The depth rule of a visit as a block of data, which no browser runs; empty without one."""
    rules = phone_rules(record)
    return json_script(rules, "depth-rules") if rules else ""
