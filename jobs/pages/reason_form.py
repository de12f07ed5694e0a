"""Why something is ended: asked before a job is called off or a visit cancelled."""

from __future__ import annotations

from django import forms


class ReasonForm(forms.Form):
    reason = forms.CharField(
        max_length=200, help_text="Kept in the job’s history, such as “householder declined”."
    )
