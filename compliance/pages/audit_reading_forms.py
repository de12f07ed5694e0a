"""Forms of reading a drawn job: a finding, and depths measured again."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django import forms

from compliance.audits.remeasuring import Again
from compliance.models import FindingDraft, Remeasurement
from jobs.models import DepthReading

LONGEST_FINDING = 4000


class FindingForm(forms.Form):
    severity = forms.ChoiceField(
        label="Class",
        choices=FindingDraft._meta.get_field("severity").choices,
        initial="minor",
        widget=forms.RadioSelect,
    )
    concerns = forms.CharField(
        required=False, label="It concerns", max_length=60, widget=forms.Select
    )
    text = forms.CharField(
        label="What was found",
        max_length=LONGEST_FINDING,
        help_text="About the work, without names: it stays in the ledger.",
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    def __init__(self, *args: Any, things: Iterable[tuple[str, str]] = (), **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["concerns"].widget.choices = list(things)  # type: ignore[attr-defined]


class ReplyForm(forms.Form):
    text = forms.CharField(
        label="Your word on the answer",
        required=False,
        max_length=LONGEST_FINDING,
        help_text="Needed when you do not accept it. Without names.",
        widget=forms.Textarea(attrs={"rows": 3}),
    )


class FilesInput(forms.ClearableFileInput):
    allow_multiple_selected = True


class FilesField(forms.FileField):
    """Any number of files; the domain says which it takes."""

    widget = FilesInput(attrs={"accept": "image/*,application/pdf"})

    def clean(self, data: Any, initial: Any = None) -> list[Any]:
        given = data if isinstance(data, list | tuple) else [data]
        return [self._cleaned(each, initial) for each in given if each]

    def _cleaned(self, file: Any, initial: Any) -> Any:
        """Raises ValidationError naming the file, since it comes with others."""
        try:
            return super().clean(file, initial)
        except forms.ValidationError as error:
            said = [f"{file.name}: {words[:1].lower()}{words[1:]}" for words in error.messages]
            raise forms.ValidationError(said) from error


class AnswerForm(forms.Form):
    text = forms.CharField(
        label="Answer",
        max_length=LONGEST_FINDING,
        help_text="What was done about it, or why it stands, without names.",
        widget=forms.Textarea(attrs={"rows": 4}),
    )
    files = FilesField(
        label="Photos or documents",
        required=False,
        help_text="JPEG, PNG, HEIC, WebP or PDF. Each is kept as it came, under its SHA-256.",
    )
    links = forms.MultipleChoiceField(
        label="What proves it",
        required=False,
        help_text="Such as the photos of a call-back.",
        widget=forms.CheckboxSelectMultiple,
    )

    def __init__(self, *args: Any, things: Iterable[tuple[str, str]] = (), **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["links"].choices = list(things)  # type: ignore[attr-defined]
        if not self.fields["links"].choices:  # type: ignore[attr-defined]
            del self.fields["links"]


@dataclass(frozen=True, slots=True)
class MeasuredRow:
    """One place to measure: its number, the reading, what was measured there, and its fields."""

    number: int
    reading: DepthReading
    known: Remeasurement | None
    depth: Any
    why: Any
    x: Any
    y: Any


def _named(name: str) -> dict[str, str]:
    """What the phone's queue calls a field towards the API."""
    return {"data-api-name": name}


def _sent_as(name: str, **attrs: str) -> dict[str, object]:
    """Of a field that the form of one place cannot do without."""
    return {"required": True, "autocomplete": "off", **_named(name), **attrs}


class AgainForm(forms.Form):
    """A depth for each reading of a job; what is left empty is not measured.

    On the page each place is a form of its own, which the phone keeps and sends by itself.
    """

    def __init__(
        self,
        *args: Any,
        readings: Sequence[DepthReading],
        known: Mapping[int, Remeasurement],
        **kwargs: Any,
    ):
        super().__init__(*args, **kwargs)
        self.readings, self.known = readings, known
        for number, reading in enumerate(readings, start=1):
            self.fields[f"depth_{reading.pk}"] = forms.FloatField(
                label=f"Place {number}",
                required=False,
                min_value=0,
                max_value=1500,
                widget=forms.NumberInput(attrs=_sent_as("depth_mm", inputmode="decimal")),
            )
            for axis in ("x", "y"):
                self.fields[f"{axis}_{reading.pk}"] = forms.FloatField(
                    required=False,
                    widget=forms.HiddenInput(attrs={"data-number": "", **_named(f"{axis}_mm")}),
                )
            self.fields[f"why_{reading.pk}"] = forms.CharField(
                label=f"Why place {number} is corrected",
                required=False,
                max_length=200,
                widget=forms.TextInput(attrs=_sent_as("correction_reason")),
            )

    def places(self) -> Iterator[MeasuredRow]:
        for number, reading in enumerate(self.readings, start=1):
            yield MeasuredRow(
                number,
                reading,
                self.known.get(reading.pk),
                *(self[f"{name}_{reading.pk}"] for name in ("depth", "why", "x", "y")),
            )

    def rows(self) -> list[Again]:
        """What was measured, of a valid form."""
        given = self.cleaned_data
        return [
            Again(
                reading.pk,
                given[f"depth_{reading.pk}"],
                given[f"x_{reading.pk}"],
                given[f"y_{reading.pk}"],
                correction_reason=given[f"why_{reading.pk}"],
            )
            for reading in self.readings
            if given.get(f"depth_{reading.pk}") is not None
        ]
