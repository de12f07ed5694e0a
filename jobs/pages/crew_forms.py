"""Forms for crews, vans and operatives. Each carries the version it was opened at."""

from __future__ import annotations

from typing import Any

from django import forms

from jobs.models import Crew, Depot, Operative, Role, Skill, User, Van
from jobs.models.crews import WEEKDAYS
from jobs.pages.day_inputs import ClockInput


class KeptForm(forms.ModelForm):
    """A record of the company; `version` says which state of it was edited."""

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, user: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.instance.company = user.company
        self.initial["version"] = self.instance.version
        self.limit_choices(user)

    def limit_choices(self, user: User) -> None:
        """Only what belongs to the same company can be chosen."""


class VanForm(KeptForm):
    class Meta:
        model = Van
        fields = ["name", "load_volume_m3"]
        labels = {"load_volume_m3": "Load volume"}
        help_texts = {"load_volume_m3": "What fits inside, measured once for each van."}


class CrewForm(KeptForm):
    works_on = forms.TypedMultipleChoiceField(
        label="Works on", choices=WEEKDAYS, coerce=int, widget=forms.CheckboxSelectMultiple
    )

    class Meta:
        model = Crew
        fields = [
            "name",
            "van",
            "depot",
            "day_starts_at",
            "day_ends_at",
            "works_on",
            "nation",
            "break_minutes",
            "break_earliest",
            "break_latest",
            "overtime_minutes",
            "base_postcode",
            "base_latitude_deg",
            "base_longitude_deg",
            "is_active",
        ]
        labels = {
            "van": "Usual van",
            "base_latitude_deg": "Base latitude",
            "base_longitude_deg": "Base longitude",
            "is_active": "Can be booked",
            "nation": "Bank holidays of",
            "break_minutes": "Break",
            "break_earliest": "Break not before",
            "break_latest": "Break begins by",
            "overtime_minutes": "Overtime allowed",
        }
        help_texts = {
            "nation": "",
            "break_minutes": "In minutes; 0 for none.",
            "break_latest": "",
            "overtime_minutes": "In minutes a day; a plan uses it at a price.",
        }
        widgets = {
            "day_starts_at": ClockInput(),
            "day_ends_at": ClockInput(),
            "break_earliest": ClockInput(),
            "break_latest": ClockInput(),
        }

    def limit_choices(self, user: User) -> None:
        van: Any = self.fields["van"]
        van.queryset, van.empty_label = Van.objects.visible_to(user), "No usual van"
        depot: Any = self.fields["depot"]
        depot.queryset, depot.empty_label = Depot.objects.visible_to(user), "No depot"


class OperativeForm(KeptForm):
    skills = forms.MultipleChoiceField(
        choices=Skill.choices, required=False, widget=forms.CheckboxSelectMultiple
    )

    class Meta:
        model = Operative
        fields = ["name", "crew", "leads_crew", "skills", "card_reference", "user"]
        labels = {"user": "Sign-in", "leads_crew": "Leads the crew"}
        help_texts = {"user": "For who keeps records on site."}

    def limit_choices(self, user: User) -> None:
        crew: Any = self.fields["crew"]
        crew.queryset, crew.empty_label = Crew.objects.visible_to(user), "No crew now"
        sign_in: Any = self.fields["user"]
        sign_in.queryset = User.objects.filter(
            company=user.company_id, role__in=(Role.INSTALLER, Role.SURVEYOR)
        )
        sign_in.empty_label = "None"
