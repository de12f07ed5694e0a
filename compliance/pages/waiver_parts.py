"""What the verdict page shows of waivers, and the two forms they take."""

from __future__ import annotations

from typing import Any

from django import forms

from compliance.models import Shortfall, Waiver
from compliance.pages.roles import DECIDERS, WAIVER_ANSWERERS
from compliance.second_people import who_can
from compliance.waivers import may_answer, newest_waiver
from jobs.models import Job, User


class WaiverForm(forms.Form):
    reason = forms.CharField(
        max_length=600,
        error_messages={"required": "Say why the shortfall is left as it is."},
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Why it is left as it is, such as a ceiling that may not be loaded. No names.",
    )


class AnswerForm(forms.Form):
    note = forms.CharField(
        max_length=600,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Needed when you turn it down. No names.",
    )


def waiver_parts(job: Job, user: User, shortfall: Shortfall | None) -> dict[str, Any]:
    """What the verdict page shows of waivers to this person."""
    newest = newest_waiver(job)
    waits = newest is not None and not hasattr(newest, "answer") and shortfall is not None
    may_record = user.role in DECIDERS and shortfall is not None and not waits
    able = _who_can(job, user, newest if waits else None, may_record)
    return {
        "waivers": Waiver.objects.filter(job=job).with_people(),
        "waiver_form": WaiverForm() if may_record else None,
        "answer_form": AnswerForm() if waits and may_answer(newest, user) else None,
        "who_can": able,
        "waive_text": "A second person must agree. The loft stays short and gets no certificate; "
        f"your reason is kept with it. {able}",
    }


def _who_can(job: Job, user: User, waits: Waiver | None, may_record: bool) -> str:
    """Who can be the second person, told to the office, which has to ask them."""
    if user.role not in WAIVER_ANSWERERS:
        return ""
    if waits is not None:
        return who_can(job.pk, waits.recorded_by_id)
    return who_can(job.pk, user) if may_record else ""
