"""Forms of the audit pages."""

from __future__ import annotations

from typing import Any

from django import forms

from compliance.audits.rounds import RoundTerms
from compliance.models import AuditRound
from jobs.models import Company, User


class RoundForm(forms.Form):
    """Terms of a round. Percentages as people write them; `terms` gives the engine's shares."""

    name = forms.CharField(
        max_length=80, label="Name", help_text="How you will know it again, such as Autumn 2026."
    )
    period_from = forms.DateField(
        label="Certified from", widget=forms.DateInput(attrs={"type": "date"})
    )
    period_to = forms.DateField(
        label="Certified to", widget=forms.DateInput(attrs={"type": "date"})
    )
    company = forms.ModelChoiceField(
        Company.objects.none(),
        required=False,
        label="Company",
        empty_label="All companies of the scheme",
    )
    plan = forms.ChoiceField(
        choices=AuditRound.Plan.choices, label="Size of the sample", initial="acceptance"
    )
    level = forms.ChoiceField(
        choices=[(level, f"General level {level}") for level in ("I", "II", "III")],
        initial="II",
        label="Inspection level",
    )
    severity = forms.ChoiceField(
        choices=[("normal", "Normal"), ("tightened", "Tightened"), ("reduced", "Reduced")],
        initial="normal",
        label="Inspection",
    )
    aql = forms.TypedChoiceField(
        choices=[(1.0, "1.0 %"), (2.5, "2.5 %"), (4.0, "4.0 %")],
        coerce=float,
        initial=4.0,
        label="Acceptable quality limit",
        help_text="Defective jobs in a hundred that the scheme can live with.",
    )
    confidence_percent = forms.FloatField(
        min_value=50, max_value=99.9, initial=95, label="How sure", help_text="Per cent."
    )
    defective_percent = forms.FloatField(
        min_value=0.1,
        max_value=90,
        initial=10,
        label="That no more than this is defective",
        help_text="Per cent of the population.",
    )
    nonce_commitment = forms.CharField(
        label="Commitment",
        max_length=64,
        min_length=64,
        help_text=(
            "SHA-256 of a secret of yours, 64 hexadecimal digits. The page makes the secret on "
            "your own device and never sends it; keep it for the draw."
        ),
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
    )

    acceptance_fields = ("level", "severity", "aql")
    confidence_fields = ("confidence_percent", "defective_percent")

    def __init__(self, *args: Any, auditor: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["company"].queryset = Company.objects.filter(  # type: ignore[attr-defined]
            schemes=auditor.scheme_id
        )

    def terms(self) -> RoundTerms:
        c = self.cleaned_data
        return RoundTerms(
            name=c["name"],
            period_from=c["period_from"],
            period_to=c["period_to"],
            company=c["company"],
            plan=c["plan"],
            level=c["level"],
            severity=c["severity"],
            aql=c["aql"],
            confidence=c["confidence_percent"] / 100,
            defective_share=c["defective_percent"] / 100,
        )


class DrawForm(forms.Form):
    nonce_hex = forms.CharField(
        label="Your secret",
        max_length=128,
        help_text="The one whose commitment you gave when the round began.",
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
    )
