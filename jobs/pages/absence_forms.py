"""The form an absence is recorded or corrected with: whole days, or hours of them."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from typing import Any

from django import forms
from django.utils import timezone

from jobs.models import Absence, Crew, Operative, User
from jobs.pages.day_inputs import clock_field, day_field


class AbsenceForm(forms.Form):
    """Who is away from when to when. Without times the days are whole."""

    who = forms.ChoiceField(label="Who is away")
    first_day = day_field()
    starts_at = clock_field(label="From", required=False)
    last_day = day_field()
    ends_at = clock_field(label="Until", required=False)
    reason = forms.ChoiceField(choices=Absence.Reason.choices)
    note = forms.CharField(max_length=200, required=False)
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, user: User, absence: Absence | None = None, **kw: Any) -> None:
        today = timezone.localdate()
        usual = {"first_day": today, "last_day": today, "reason": Absence.Reason.LEAVE}
        stands = of_absence(absence) if absence else usual
        super().__init__(*args, initial=stands | (kw.pop("initial", None) or {}), **kw)
        self.crews = {f"crew-{c.pk}": c for c in Crew.objects.visible_to(user)}
        people = Operative.objects.visible_to(user).select_related("crew")
        self.people = {f"operative-{p.pk}": p for p in people}
        who: Any = self.fields["who"]
        who.choices = [
            ("Crews", [(key, str(crew)) for key, crew in self.crews.items()]),
            ("Operatives", [(key, _named(person)) for key, person in self.people.items()]),
        ]
        if absence is not None:
            del self.fields["who"]

    @property
    def chosen(self) -> dict[str, Crew | Operative]:
        """Who is away, as `record_absence` is told."""
        who = self.cleaned_data["who"]
        if who in self.crews:
            return {"crew": self.crews[who]}
        return {"operative": self.people[who]}

    @property
    def times(self) -> dict[str, datetime]:
        """From when to when, by the clock of the United Kingdom."""
        given = self.cleaned_data
        begins = datetime.combine(given["first_day"], given["starts_at"] or time())
        if given["ends_at"]:
            ends = datetime.combine(given["last_day"], given["ends_at"])
        else:
            ends = datetime.combine(given["last_day"] + timedelta(days=1), time())
        return {"starts_at": timezone.make_aware(begins), "ends_at": timezone.make_aware(ends)}


def of_absence(absence: Absence) -> dict[str, Any]:
    """An absence as the form shows it; midnights are whole days."""
    begins, ends = (timezone.localtime(at) for at in (absence.during.lower, absence.during.upper))
    whole_end = ends.time() == time()
    return {
        "first_day": begins.date(),
        "starts_at": None if begins.time() == time() else begins.time(),
        "last_day": (ends - timedelta(days=1)).date() if whole_end else ends.date(),
        "ends_at": None if whole_end else ends.time(),
        "reason": absence.reason,
        "note": absence.note,
        "version": absence.version,
    }


def _named(person: Operative) -> str:
    return f"{person} ({person.crew})" if person.crew else str(person)
