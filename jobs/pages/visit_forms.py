"""Forms to book and to move a visit, and to narrow the list of visits."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import Any

from django import forms
from django.utils import timezone

from jobs.models import Crew, Job, Operative, User, Van, Visit
from jobs.pages.day_inputs import clock_field, day_field
from jobs.pages.length_field import LengthField, unless_untouched
from jobs.planning.booking import (
    LONGEST_HOURS,
    SHORTEST_HOURS,
    hours_of,
    kinds_bookable,
    proposed_hours,
)
from jobs.planning.call_back_hours import call_back_hours_told
from jobs.planning.going_along import named
from jobs.planning.spelling import spell_length

USUAL_VAN = ("usual", "The crew’s usual van")
SHOW = (
    ("", "Coming"),
    ("overdue", "Never begun"),
    ("past", "Past"),
    ("cancelled", "Cancelled"),
)


class VisitForm(forms.Form):
    """Who goes, when, for how long."""

    crew = forms.ModelChoiceField(Crew.objects.none(), empty_label="Choose")
    van = forms.ChoiceField(required=False)
    day = day_field()
    time = clock_field(label="Arrives at")
    hours = LengthField(label="Time on site", shortest_h=SHORTEST_HOURS, longest_h=LONGEST_HOURS)
    note = forms.CharField(
        label="Note to the crew", required=False, widget=forms.Textarea(attrs={"rows": 2})
    )

    def __init__(self, *args: Any, user: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        crew: Any = self.fields["crew"]
        crew.queryset = Crew.objects.visible_to(user).filter(is_active=True).select_related("van")
        self.vans = {str(van.pk): van for van in Van.objects.visible_to(user)}
        van: Any = self.fields["van"]
        van.choices = [USUAL_VAN, ("", "No van"), *((pk, van) for pk, van in self.vans.items())]

    def clean_hours(self) -> float | None:
        return unless_untouched(self.cleaned_data["hours"], self.initial.get("hours"))

    @property
    def chosen_van(self) -> Van | None:
        """The van that goes: the one chosen, or the usual one of the crew."""
        if self.cleaned_data["van"] == USUAL_VAN[0]:
            return self.cleaned_data["crew"].van
        return self.vans.get(self.cleaned_data["van"])

    @property
    def starts_at(self) -> datetime:
        """Arrival, by the clock of the United Kingdom."""
        together = datetime.combine(self.cleaned_data["day"], self.cleaned_data["time"])
        return timezone.make_aware(together)

    @property
    def shown_day(self) -> date:
        """The day whose visits stand beside the form: the one typed, else the proposed one."""
        typed = self["day"].value()
        try:
            return typed if isinstance(typed, date) else date.fromisoformat(str(typed))
        except ValueError:
            return next_working_day()


class BookingForm(VisitForm):
    """A new visit of a job; proposes what the job's stage and layer plan suggest."""

    kind = forms.ChoiceField(label="Kind of visit")
    field_order = ["kind", "day", "time", "hours", "crew", "van", "note"]

    def __init__(self, *args: Any, job: Job, user: User, **kwargs: Any) -> None:
        kinds = kinds_bookable(job)
        proposed = {
            "kind": kinds[0] if kinds else "",
            "day": next_working_day(),
            "time": "08:00",
            "van": USUAL_VAN[0],
            "hours": proposed_hours(job, kinds[0]) if kinds else 4.0,
        }
        super().__init__(*args, user=user, initial=proposed | kwargs.pop("initial", {}), **kwargs)
        kind: Any = self.fields["kind"]
        kind.choices = [(kind.value, kind.label) for kind in kinds]
        self.fields["hours"].help_text = hours_reason(job, kinds)


class MovingForm(VisitForm):
    """A booked visit as it stands, to be moved. Carries the version it was opened at."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    may_leave_behind = forms.ModelMultipleChoiceField(
        Operative.objects.none(),
        label="Move it without",
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )

    def __init__(self, *args: Any, visit: Visit, user: User, **kwargs: Any) -> None:
        start = timezone.localtime(visit.during.lower)
        now = {
            "crew": visit.crew_id,
            "van": str(visit.van_id or ""),
            "day": start.date(),
            "time": start.time(),
            "hours": hours_of(visit),
            "note": visit.note,
            "version": visit.version,
        }
        super().__init__(*args, user=user, initial=now | kwargs.pop("initial", {}), **kwargs)
        along: Any = self.fields["may_leave_behind"]
        along.queryset = Operative.objects.visible_to(user).filter(on_visits__visit=visit)
        self.asks_without = False

    def ask_without(self, people: Iterable[Operative]) -> None:
        """Offer to move it without these, who could not come along."""
        along: Any = self.fields["may_leave_behind"]
        along.choices = [(person.pk, named(person)) for person in people]
        along.required = True  # now it is, or the visit has to go elsewhere
        self.asks_without = True


class FoundForm(forms.Form):
    """What a competent person says of the wiring."""

    found = forms.CharField(
        label="What was done or found",
        max_length=400,
        error_messages={"required": "Say what was done or found."},
        help_text="Such as “circuit made safe, cable rerouted over the joists, certificate left”.",
    )


class VisitFilter(forms.Form):
    show = forms.ChoiceField(label="Which", required=False, choices=SHOW)
    kind = forms.ChoiceField(required=False, choices=[("", "Any kind"), *Visit.Kind.choices])
    crew = forms.ModelChoiceField(Crew.objects.none(), required=False, empty_label="Any crew")
    day = day_field(required=False)

    def __init__(self, data: Any, *, user: User) -> None:
        super().__init__(data)
        self.user = user
        crew: Any = self.fields["crew"]
        crew.queryset = Crew.objects.visible_to(user)

    @property
    def chosen(self) -> dict[str, Any]:
        self.is_valid()
        return {name: value for name, value in self.cleaned_data.items() if value}

    @property
    def active(self) -> int:
        return len(self.chosen.keys() - {"show"})

    def visits(self) -> Any:
        chosen, today = self.chosen, timezone.localdate()
        visits = Visit.objects.visible_to(self.user).with_job()
        if "day" in chosen:
            visits = visits.on_day(chosen["day"])
        for name in ("kind", "crew"):
            if name in chosen:
                visits = visits.filter(**{name: chosen[name]})
        return self._shown(visits, chosen, today)

    def _shown(self, visits: Any, chosen: dict[str, Any], today: date) -> Any:
        show = chosen.get("show", "")
        if show == "cancelled":
            return visits.filter(status="cancelled").order_by("-during", "-id")
        if show == "overdue":
            return visits.never_begun(today).order_by("during", "id")
        if show == "past":
            return visits.live().filter(during__endswith__date__lt=today).order_by("-during", "-id")
        if "day" not in chosen:
            visits = visits.filter(during__endswith__date__gte=today)
        return visits.live().order_by("during", "id")


def next_working_day() -> date:
    day = timezone.localdate() + timedelta(days=1)
    while day.weekday() > 4:
        day += timedelta(days=1)
    return day


def hours_reason(job: Job, kinds: list[Visit.Kind]) -> str:
    """Where the proposed time on site comes from."""
    if kinds and kinds[0] == Visit.Kind.CALL_BACK:
        return call_back_hours_told(job)
    plan = job.layer_plans.first()
    if Visit.Kind.FITTING in kinds and plan is not None:
        return f"The layer plan reckons with {spell_length(plan.crew_hours)} h for a crew of two."
    return "Proposed by common practice; change it as you know the home."
