"""Forms of the verdict page: taking back, sending back, who owns it."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms

from compliance.certificates.withdraw import GIVEN_BY_A_PERSON, Kind
from compliance.shortfalls import OWNERS
from jobs.models import Job, User, Visit
from jobs.pages.day_inputs import day_field
from jobs.pages.visit_forms import USUAL_VAN, VisitForm, next_working_day
from jobs.planning.booking import proposed_hours
from jobs.planning.call_back_hours import call_back_hours_told


class WithdrawForm(forms.Form):
    kind = forms.ChoiceField(
        choices=[
            ("", "Choose"),
            *((kind.value, kind.label) for kind in Kind if kind in GIVEN_BY_A_PERSON),
        ],
        label="Because",
        help_text="Shown on the public check page.",
    )
    reason = forms.CharField(
        max_length=300,
        error_messages={"required": "Say why the certificate is withdrawn."},
        help_text="For your company and its auditor, kept for good, so without names. Such as "
        "“opened up for rewiring, to be laid again”.",
    )


class CallBackForm(VisitForm):
    """The visit that puts it right, proposed for the next working day."""

    field_order = ["day", "time", "hours", "crew", "van", "note"]

    def __init__(self, *args: Any, job: Job, user: User, **kwargs: Any) -> None:
        proposed = {
            "day": next_working_day(),
            "time": "08:00",
            "van": USUAL_VAN[0],
            "hours": proposed_hours(job, Visit.Kind.CALL_BACK),
        }
        super().__init__(*args, user=user, initial=proposed | kwargs.pop("initial", {}), **kwargs)
        self.fields["hours"].help_text = call_back_hours_told(job)


class DueForm(forms.Form):
    due_on = day_field(label="Due on", error_messages={"invalid": "Give a day, 2027-03-01."})

    def __init__(self, *args: Any, now: date | None = None, **kwargs: Any) -> None:
        super().__init__(*args, initial={"due_on": now}, **kwargs)


class OwnerForm(forms.Form):
    owner = forms.ModelChoiceField(User.objects.none(), label="Owner", empty_label="Choose")

    def __init__(self, *args: Any, job: Job, now: User | None = None, **kwargs: Any) -> None:
        super().__init__(*args, initial={"owner": now}, **kwargs)
        owner: Any = self.fields["owner"]
        owner.queryset = User.objects.filter(
            company=job.company_id, role__in=OWNERS, is_active=True
        )
