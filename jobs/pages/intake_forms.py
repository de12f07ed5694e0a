"""The form a spreadsheet is sent with."""

from __future__ import annotations

from typing import Any

from django import forms

from jobs.models import Company, IntakeRow, Scheme
from jobs.pages.property_form import open_schemes

OUTCOMES = dict(IntakeRow.Outcome.choices)


class SpreadsheetForm(forms.Form):
    scheme = forms.ModelChoiceField(Scheme.objects.none(), empty_label="Choose")
    file = forms.FileField(
        label="Spreadsheet",
        help_text="CSV or XLSX, up to 50,000 homes.",
        widget=forms.FileInput(attrs={"accept": ".csv,.txt,.tsv,.xlsx"}),
        error_messages={"empty": "This file is empty. Choose another file."},
    )

    def __init__(self, *args: Any, company: Company, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        scheme: Any = self.fields["scheme"]
        scheme.queryset = open_schemes(company)
