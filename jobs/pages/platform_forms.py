"""Forms for companies and schemes. Each carries the version it was opened at."""

from __future__ import annotations

from typing import Any

from django import forms

from jobs.models import Company, Scheme
from jobs.pages.day_inputs import day_field
from jobs.platform.schemes import MOST_REMEDY_WEEKS, SchemeTerms


class CompanyForm(forms.Form):
    name = forms.CharField(
        max_length=120, help_text="As people know it; certificates and audits show it."
    )
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)


class OfficePhoneForm(forms.Form):
    office_phone = forms.CharField(
        label="The office's telephone",
        max_length=40,
        required=False,
        widget=forms.TextInput({"inputmode": "tel", "autocomplete": "tel"}),
        help_text="What crews ring when they stop work. Their phones keep it for lofts without "
        "signal. Answered while crews are out, it is of most use.",
    )
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)


class SchemeForm(forms.Form):
    name = forms.CharField(max_length=120)
    starts_on = day_field(label="First day")
    ends_on = day_field(label="Last day", required=False, help_text="Empty while none is set.")
    remedy_weeks = forms.IntegerField(
        label="To put a shortfall right", min_value=1, max_value=MOST_REMEDY_WEEKS, initial=8
    )
    companies = forms.ModelMultipleChoiceField(
        Company.objects.all(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        label="Companies that work under it",
    )
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    @property
    def terms(self) -> SchemeTerms:
        names = ("name", "starts_on", "ends_on", "remedy_weeks")
        return SchemeTerms(**{name: self.cleaned_data[name] for name in names})


class NewSchemeForm(SchemeForm):
    code = forms.SlugField(
        max_length=20,
        help_text="Short, of letters, figures and hyphens; spreadsheets are taken in by it. "
        "It stays.",
    )
    field_order = ("name", "code")


def scheme_values(scheme: Scheme) -> dict[str, Any]:
    """What the form shows of a scheme to begin with."""
    names = ("name", "starts_on", "ends_on", "remedy_weeks", "version")
    return {name: getattr(scheme, name) for name in names} | {"companies": scheme.companies.all()}
