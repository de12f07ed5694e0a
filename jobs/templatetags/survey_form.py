"""Which fields of a survey form's row stand open and which fold away."""

from __future__ import annotations

from django import template
from django.forms import BaseForm
from django.forms.boundfield import BoundField

register = template.Library()


@register.filter
def open_fields(form: BaseForm) -> list[BoundField]:
    folded = (*getattr(form, "folded", ()), "DELETE")
    return [bound for bound in form.visible_fields() if bound.name not in folded]


@register.filter
def folded_fields(form: BaseForm) -> list[BoundField]:
    return [bound for bound in form.visible_fields() if bound.name in getattr(form, "folded", ())]


@register.filter
def has_folded_values(form: BaseForm) -> bool:
    """Whether something in the fold differs from what an empty row holds, or is wrong."""
    usual = (None, "", 0, 0.0, "0", "0.0")
    for bound in folded_fields(form):
        value = bound.value()
        plain = bound.field.initial
        if bound.errors or (value not in usual and value != plain and str(value) != str(plain)):
            return True
    return False
