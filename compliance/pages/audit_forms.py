"""Forms of the pages of audit rounds."""

from __future__ import annotations

from typing import Any

from django import forms

from calculations.sampling import AQLS
from compliance.audits.planning import crews_under
from compliance.audits.rounds import RoundTerms
from compliance.models import AuditRound
from jobs.models import Company, Crew, Nation, User
from jobs.pages.day_inputs import day_field


class CrewChoice(forms.ModelChoiceField):
    def label_from_instance(self, crew: Any) -> str:
        return f"{crew.company.name}: {crew.name}"


class OneOfThem(forms.Select):
    """The empty choice is a choice, so the browser asks for no other."""

    def use_required_attribute(self, initial: Any) -> bool:
        return False


class Choice(forms.ChoiceField):
    """One of its choices, of which the empty one means something too."""

    widget = OneOfThem

    def validate(self, value: Any) -> None:
        if value and not self.valid_value(value):
            raise forms.ValidationError("Choose one of these.", code="invalid_choice")


class RoundForm(forms.Form):
    """Terms of a round. Percentages as people write them; `terms` gives the engine's shares."""

    name = forms.CharField(
        max_length=80, label="Name", help_text="How you will know it again, such as Autumn 2026."
    )
    period_from = day_field(label="Certified from")
    period_to = day_field(label="Certified to")
    company = forms.ModelChoiceField(
        Company.objects.none(),
        required=False,
        label="Company",
        empty_label="All companies of the scheme",
    )
    crew = CrewChoice(Crew.objects.none(), required=False, label="Crew", empty_label="All crews")
    nation = Choice(label="Nation", choices=[("", "All nations"), *Nation.choices])
    postcode_areas = forms.CharField(
        required=False,
        max_length=120,
        label="Postcode areas",
        help_text="Letters before the first digit, such as LE, NG. Empty: all.",
    )
    plan = forms.ChoiceField(
        choices=AuditRound.Plan.choices, label="Size of the sample", initial="acceptance"
    )
    level = forms.ChoiceField(
        choices=[(level, f"General level {level}") for level in ("I", "II", "III")],
        initial="II",
        label="Inspection level",
    )
    severity = Choice(
        choices=[
            ("", "As the switching rules say"),
            ("tightened", "Tightened, to begin with"),
            ("normal", "Normal, though reduced is allowed"),
        ],
        label="Inspection",
        help_text="Yours to choose only for the first round, and to do without reduced.",
    )
    aql = forms.TypedChoiceField(
        choices=[(aql, f"{aql:g} %") for aql in AQLS if aql >= 0.1],
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
    strata_by = Choice(
        choices=AuditRound.StrataBy.choices,
        label="Draw apart by",
        help_text="Each crew, company or place then has its share of the sample.",
    )
    allocation = Choice(
        choices=AuditRound.Allocation.choices,
        initial="proportional",
        label="Share out",
        help_text="Counts only where it is drawn apart.",
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

    def __init__(self, *args: Any, auditor: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        companies = Company.objects.filter(schemes=auditor.scheme_id)
        crews = crews_under(auditor.scheme_id).filter(is_active=True)
        self.fields["company"].queryset = companies  # type: ignore[attr-defined]
        self.fields["crew"].queryset = crews.select_related("company").order_by(  # type: ignore[attr-defined]
            "company__name", "name"
        )

    def terms(self) -> RoundTerms:
        c = self.cleaned_data
        return RoundTerms(
            name=c["name"],
            period_from=c["period_from"],
            period_to=c["period_to"],
            company=c["company"],
            crew=c["crew"],
            nation=c["nation"],
            postcode_areas=c["postcode_areas"].replace(",", " ").split(),
            plan=c["plan"],
            level=c["level"],
            severity=c["severity"],
            aql=c["aql"],
            confidence=c["confidence_percent"] / 100,
            defective_share=c["defective_percent"] / 100,
            strata_by=c["strata_by"],
            allocation=c["allocation"] or AuditRound.Allocation.PROPORTIONAL,
        )


class DrawForm(forms.Form):
    nonce_hex = forms.CharField(
        label="Your secret",
        max_length=128,
        help_text="The one whose commitment you gave when the round began.",
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
    )


class ReasonForm(forms.Form):
    """A reason, for what is not undone."""

    reason = forms.CharField(
        max_length=300,
        label="Reason",
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="No names: it stays in the ledger.",
    )


class AskForm(forms.Form):
    """What the auditor asks for because of a finding."""

    kind = forms.ChoiceField(
        choices=[("call_back", "Call-back"), ("withdrawal", "Withdrawal of the certificate")]
    )
    reason = forms.CharField(
        max_length=600, required=False, help_text="No names: it stays in the ledger."
    )
