"""How a round is told on a page."""

from __future__ import annotations

from django import template

from jobs.papers.words import drive_words

register = template.Library()
register.filter(drive_words)
