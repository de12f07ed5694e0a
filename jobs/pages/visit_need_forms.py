"""What a planner decides about a visit that is needed, and a time agreed with the householder."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django import forms
from django.db.models import Q
from django.utils import timezone

from jobs.errors import Refused
from jobs.models import Crew, Skill, User, VisitNeed
from jobs.pages.day_inputs import clock_field, day_field
from jobs.pages.length_field import LengthField, unless_untouched
from jobs.planning.need_edits import parse_part_hours, spell_parts

PRIORITIES = ((5, "5, comes first"), (4, "4"), (3, "3, usual"), (2, "2"), (1, "1, can wait"))


class NeedForm(forms.Form):
    part_hours = forms.CharField(
        label="Hours",
        help_text="Of the whole crew; those of each day if it takes several, such as 5:30, 4:00.",
    )
    crew_size = forms.IntegerField(label="Operatives at least", min_value=1, max_value=12)
    skills = forms.MultipleChoiceField(
        choices=Skill.choices, required=False, widget=forms.CheckboxSelectMultiple
    )
    priority = forms.TypedChoiceField(choices=PRIORITIES, coerce=int)
    earliest_on = day_field(label="Not before", required=False)
    due_on = day_field(label="Due", required=False)
    preferred_crew = forms.ModelChoiceField(
        Crew.objects.none(), label="Preferred crew", required=False, empty_label="None"
    )
    fixed_crew = forms.ModelChoiceField(
        Crew.objects.none(), label="Only this crew", required=False, empty_label="Any crew"
    )
    barred_crews = forms.ModelMultipleChoiceField(
        Crew.objects.none(),
        label="Crews not to be sent",
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    after = forms.ModelChoiceField(
        VisitNeed.objects.none(),
        label="Must follow",
        required=False,
        empty_label="Nothing",
        help_text="Another visit of this job that must be over before.",
    )
    after_gap_hours = LengthField(
        label="Not sooner after it than",
        shortest_h=0,
        longest_h=24 * 60,
        required=False,
        help_text="Such as 24:00, where something must dry or be signed off. Empty: at once.",
    )
    note = forms.CharField(label="Note to the crew", max_length=300, required=False)
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, need: VisitNeed, user: User, **kwargs: Any) -> None:
        super().__init__(*args, initial=_as_stands(need), **kwargs)
        self.need = need
        crews = Crew.objects.visible_to(user)
        chosen = {
            need.preferred_crew_id,
            need.fixed_crew_id,
            *(c.pk for c in need.barred_crews.all()),
        }
        offered = crews.filter(Q(is_active=True) | Q(pk__in=chosen - {None}))
        for name in ("preferred_crew", "fixed_crew", "barred_crews"):
            field: Any = self.fields[name]
            field.queryset = offered
        after: Any = self.fields["after"]
        after.queryset = need.job.visit_needs.exclude(pk=need.pk).exclude(state="withdrawn")

    def clean_part_hours(self) -> list[float]:
        stored = self.need.part_hours
        try:
            typed = parse_part_hours(self.cleaned_data["part_hours"])
        except Refused as refusal:
            raise forms.ValidationError(str(refusal)) from refusal
        return stored if spell_parts(typed) == spell_parts(stored) else typed

    def clean_after_gap_hours(self) -> float:
        typed = self.cleaned_data["after_gap_hours"]
        return unless_untouched(typed, self.need.after_gap_hours) or 0.0

    @property
    def values(self) -> dict[str, Any]:
        return {name: value for name, value in self.cleaned_data.items() if name != "version"}


class WindowForm(forms.Form):
    """A time in which the crew may arrive."""

    day = day_field()
    opens = clock_field(label="From")
    closes = clock_field(label="Until")
    whole = forms.BooleanField(label="The crew must have left by then", required=False)
    note = forms.CharField(max_length=200, required=False)

    def __init__(self, data: Any = None) -> None:
        # It stands on one page with the form of the need, which has a note as well.
        super().__init__(data, auto_id="window_%s")

    @property
    def times(self) -> tuple[datetime, datetime]:
        """By the clock of the United Kingdom."""
        given = self.cleaned_data
        opens, closes = (
            datetime.combine(given["day"], given[name]) for name in ("opens", "closes")
        )
        return timezone.make_aware(opens), timezone.make_aware(closes)


def _as_stands(need: VisitNeed) -> dict[str, Any]:
    names = ("crew_size", "skills", "priority", "earliest_on", "due_on", "note", "version")
    return {
        "part_hours": spell_parts(need.part_hours),
        "preferred_crew": need.preferred_crew_id,
        "fixed_crew": need.fixed_crew_id,
        "after": need.after_id,
        "after_gap_hours": need.after_gap_hours or None,
        "barred_crews": [crew.pk for crew in need.barred_crews.all()],
        **{name: getattr(need, name) for name in names},
    }
