"""The form of a roll type, and the one that a supplier's list is sent with."""

from __future__ import annotations

from typing import Any

from django import forms

from jobs.errors import Refused
from jobs.models import CompanyRollType
from jobs.models.roll_types import BOUNDS
from jobs.pages.crew_forms import KeptForm
from jobs.roll_types import MOST_IN_USE, splits_from


class RollTypeForm(KeptForm):
    """A roll as its label and its price list say."""

    splits = forms.CharField(
        label="Perforated for",
        required=False,
        max_length=20,
        help_text="Equal parts that come apart by hand: “2, 3” for halves and thirds. Empty for a "
        "plain roll.",
    )

    class Meta:
        model = CompanyRollType
        fields = [
            "name",
            "code",
            "thickness_mm",
            "width_mm",
            "length_mm",
            "splits",
            "conductivity_w_mk",
            "declared_in",
            "cost",
            "packed_volume_m3",
        ]
        labels = {
            "code": "Short code",
            "thickness_mm": "Thickness",
            "width_mm": "Width",
            "length_mm": "Length",
            "conductivity_w_mk": "Conductivity",
            "declared_in": "Declared where",
            "cost": "Cost of a roll",
            "packed_volume_m3": "Packed volume of a roll",
        }
        help_texts = {
            "name": "As your crews call it; it stands on load lists and certificates.",
            "code": "Your own, such as W170. Stock and cut lists go by it.",
            "thickness_mm": "Of the wool as it lies, shaken out.",
            "conductivity_w_mk": "The declared value of the label, such as 0.044.",
            "declared_in": "Such as the number of the maker’s declaration of performance.",
            "cost": "What you pay, without currency sign. 0 makes it free to plans, which then "
            "prefer it.",
            "packed_volume_m3": "As delivered: by it a van fills up.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in BOUNDS:
            self.initial[name] = f"{self.initial[name]:g}" if self.initial.get(name) else None
        self.initial["splits"] = ", ".join(map(str, self.instance.splits))
        if self.instance.pk:
            return
        for name in ("cost", "packed_volume_m3"):  # nobody means 0 by leaving what stands there
            self.fields[name].initial = None

    def clean_code(self) -> str:
        return str(self.cleaned_data["code"]).upper()

    def clean_splits(self) -> list[int]:
        try:
            return splits_from(self.cleaned_data["splits"])
        except Refused as refusal:
            raise forms.ValidationError(str(refusal)) from refusal

    @property
    def groups(self) -> list[tuple[str, str, list[tuple[forms.BoundField, str]]]]:
        """Title, note, and the fields with their units."""
        units = {"conductivity_w_mk": "W/mK", "thickness_mm": "mm", "packed_volume_m3": "m3"}
        return [
            (title, note, [(self[name], units.get(name, "")) for name in names])
            for title, note, names in GROUPS
        ]


GROUPS = (
    ("What it is", "", ("name", "code")),
    (
        "Size",
        "Layers, cut lists and rolls are worked out from it.",
        ("thickness_mm", "width_mm", "length_mm", "splits"),
    ),
    (
        "Heat",
        "U-values rest on it, and under a rule with a U-value a verdict can.",
        ("conductivity_w_mk", "declared_in"),
    ),
    (
        "Buying and loading",
        "Plans take the wool that costs least for the depth.",
        ("cost", "packed_volume_m3"),
    ),
)


class RollSheetForm(forms.Form):
    file = forms.FileField(
        label="Spreadsheet",
        help_text=f"CSV or XLSX, up to {MOST_IN_USE} roll types.",
        widget=forms.FileInput(attrs={"accept": ".csv,.txt,.tsv,.xlsx"}),
        error_messages={"empty": "This file is empty. Choose another file."},
    )
