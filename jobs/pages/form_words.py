"""What every form of the pages says about a field that is empty or out of its range.

Django's own sentences speak of fields and values; these name the remedy. They are set once, on
Django's classes, so that a new form speaks like the others without doing anything.
"""

from __future__ import annotations

from django import forms
from django.core import validators


def set_form_words() -> None:
    """Put our sentences in place of Django's; called when the application is ready."""
    forms.Field.default_error_messages["required"] = "Fill this in."
    for kind in (forms.ChoiceField, forms.ModelChoiceField, forms.MultipleChoiceField):
        kind.default_error_messages["required"] = "Choose one."
    forms.FileField.default_error_messages["required"] = "Choose a file."
    validators.MaxLengthValidator.message = (
        "At most %(limit_value)s characters, and there are %(show_value)s: shorten it."
    )
    validators.MaxValueValidator.message = "At most %(limit_value)s: enter less."
    validators.MinValueValidator.message = "At least %(limit_value)s: enter more."
