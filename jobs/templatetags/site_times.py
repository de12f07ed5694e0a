"""Times from site as pages tell them: by our clock, with the source beside each."""

from __future__ import annotations

from typing import Any

from django import template
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString

from jobs.evidence.clock import ToldTime
from jobs.evidence.clock import told_time as tell

register = template.Library()


@register.simple_tag
def told_time(record: Any, field: str, form: str = "day") -> SafeString:
    """The time `field` of a record, corrected, with its source; `form="clock"` tells no day."""
    return time_words(tell(record, field), form)


@register.simple_tag
def time_words(told: ToldTime, form: str = "day") -> SafeString:
    at = timezone.localtime(told.at)
    words = f"{at:%H:%M}" if form == "clock" else f"{at:%-d %b %Y, %H:%M}"
    doubt = format_html(' <span class="point-warning">{}</span>', told.doubt) if told.doubt else ""
    return format_html(
        '<time datetime="{}">{}</time> <span class="time-source">{}</span>{}',
        told.at.isoformat(),
        words,
        told.words,
        doubt,
    )
