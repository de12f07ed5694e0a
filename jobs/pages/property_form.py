"""The form a home is taken in or corrected with. `jobs.intake.values` judges the answers."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils import timezone

from jobs.intake.values import PropertyValues, read_values
from jobs.models import Company, Nation, Scheme
from jobs.pages.day_inputs import day_field


class PropertyForm(forms.Form):
    """What is known of a home. After `is_valid()`, `values` holds the typed answers."""

    reference = forms.CharField(label="Your own reference")
    address_line_1 = forms.CharField(label="Address, first line")
    address_line_2 = forms.CharField(label="Address, second line", required=False)
    town = forms.CharField()
    postcode = forms.CharField(
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"})
    )
    nation = forms.ChoiceField(
        choices=[("", "Choose"), *Nation.choices],
        help_text="Decides the depth that is required.",
    )
    nation_confirmed = forms.BooleanField(
        label="I checked the nation",
        required=False,
        help_text="Asked for where a postcode area lies on both sides of a border.",
    )
    latitude_deg = forms.CharField(label="Latitude", required=False, help_text="Such as 52.6345.")
    longitude_deg = forms.CharField(label="Longitude", required=False, help_text="Such as -1.1297.")
    householder_name = forms.CharField(required=False)
    householder_phone = forms.CharField(
        required=False, widget=forms.TextInput(attrs={"type": "tel"})
    )
    householder_email = forms.CharField(
        label="Householder e-mail", required=False, widget=forms.EmailInput
    )
    access_notes = forms.CharField(
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Where the key is, parking, how the hatch is reached, pets.",
    )

    values: PropertyValues | None = None
    GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
        ("Home", ("reference", "address_line_1", "address_line_2", "town", "postcode")),
        ("Nation", ("nation", "nation_confirmed")),
        ("Position", ("latitude_deg", "longitude_deg")),
        ("Householder", ("householder_name", "householder_phone", "householder_email")),
        ("Access", ("access_notes",)),
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        raw = {name: self.data.get(self.add_prefix(name)) for name in self.fields}
        self.values, problems = read_values(raw)
        for problem in problems:
            if problem.field in self.fields and problem.field not in self.errors:
                self.add_error(problem.field, f"{problem.message} {problem.remedy}".strip())
        return cleaned

    @property
    def groups(self) -> list[tuple[str, list[forms.BoundField]]]:
        return [(title, [self[name] for name in names]) for title, names in self.GROUPS]


class NewPropertyForm(PropertyForm):
    """A home with the scheme its job is under."""

    scheme = forms.ModelChoiceField(Scheme.objects.none(), empty_label="Choose")
    due_on = day_field(label="Due on", required=False)
    field_order = ("scheme", "due_on")
    GROUPS = (("Job", ("scheme", "due_on")), *PropertyForm.GROUPS)

    def __init__(self, *args: Any, company: Company, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        scheme: Any = self.fields["scheme"]
        scheme.queryset = open_schemes(company)
        if scheme.queryset.count() == 1:
            scheme.initial = scheme.queryset.first()


def open_schemes(company: Company) -> Any:
    """The company's schemes that have not ended."""
    return company.schemes.exclude(ends_on__lt=timezone.localdate())
