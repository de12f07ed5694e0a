"""Why something is ended: asked before a job is called off, a visit cancelled or not needed."""

from __future__ import annotations

from typing import Any

from django import forms


class ReasonForm(forms.Form):
    """unless_given: what is said where there is no reason, the words of whoever needs it."""

    reason = forms.CharField(
        max_length=200, help_text="Kept in the job’s history, such as “householder declined”."
    )

    def __init__(self, *args: Any, unless_given: str = "Say why.", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["reason"].error_messages["required"] = unless_given
