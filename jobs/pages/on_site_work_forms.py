"""What the installer fills in besides check, photos, readings and handover; these only read.

Names of fields are those of the API, so that the phone can send the same form without signal.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms

from jobs.evidence.phone_told import Position
from jobs.evidence.stopping import hazards
from jobs.evidence.work_points import WorkPoint, points_of
from jobs.models import LoftArea, Operative, Variation, WorkStep
from jobs.pages.on_site_forms import WORDS_OF_ANSWER, OnSiteForm, needed_when

YES_NO = [("yes", "Yes"), ("no", "No")]


class ChooseYesNo(forms.TypedChoiceField):
    """A yes or no to press, true or false to the code."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            choices=YES_NO,
            coerce=lambda word: word == "yes",
            widget=forms.RadioSelect,
            error_messages={"required": "Answer this one too."},
            **kwargs,
        )


def note_field(label: str, help_text: str, needed: dict[str, str]) -> forms.CharField:
    """Words that an answer makes necessary; `needed` is of `needed_when`."""
    return forms.CharField(
        label=label,
        required=False,
        max_length=300,
        widget=forms.Textarea(attrs={"rows": 2, **needed}),
        help_text=help_text,
    )


class PlacedForm(OnSiteForm):
    """A record that may say where the phone is."""

    position_agreed = forms.BooleanField(
        required=False,
        label="Send this phone’s position with it",
        help_text="Once, for this record alone. It shows where you were; leave it open if you "
        "would rather not.",
    )
    latitude_deg = forms.FloatField(required=False, widget=forms.HiddenInput)
    longitude_deg = forms.FloatField(required=False, widget=forms.HiddenInput)
    position_accuracy_m = forms.FloatField(required=False, widget=forms.HiddenInput)

    @property
    def position(self) -> Position:
        given = self.cleaned_data
        return Position(
            given["position_agreed"],
            given["latitude_deg"],
            given["longitude_deg"],
            given["position_accuracy_m"],
        )


class ArrivalForm(PlacedForm):
    operative_ids = forms.TypedMultipleChoiceField(
        label="Who is here?",
        coerce=int,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Mark at least one."},
    )
    let_in_by = forms.CharField(label="Who let you in?", max_length=120, initial="the householder")
    loft_ready = ChooseYesNo(label="Is the loft empty, lit and safe to get into?")
    note = note_field(
        "What keeps it from being ready?",
        "Only if it is not.",
        needed_when("loft_ready=no", "Say what keeps the loft from being ready."),
    )

    def __init__(self, *args: Any, operatives: Iterable[Operative] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        people: Any = self.fields["operative_ids"]
        people.choices = [(person.pk, person.name) for person in operatives]
        self.initial.setdefault("operative_ids", [pk for pk, _ in people.choices])


class WorkStepForm(OnSiteForm):
    outcome = forms.ChoiceField(
        label="How did it go?",
        choices=WorkStep.Outcome.choices,
        widget=forms.RadioSelect,
        initial=WorkStep.Outcome.DONE,
    )
    note = note_field(
        "Note",
        "Needed where something is answered no or left undone. Without names.",
        needed_when("outcome=not_done", "Put it right, or say here why it stays so."),
    )

    def __init__(self, *args: Any, step: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.points = points_of(step)
        for point in self.points:
            words = ["yes", "no", *(["n-a"] if point.may_not_apply else [])]
            self.fields[point.code] = forms.ChoiceField(
                label=point.text,
                choices=[(word, WORDS_OF_ANSWER[word]) for word in words],
                widget=forms.RadioSelect,
                required=False,
            )
        conditions = "".join(f"|{point.code}=no" for point in self.points)
        self.fields["note"].widget.attrs["data-needed-when"] += conditions

    @property
    def asked(self) -> list[tuple[WorkPoint, Any]]:
        return [(point, self[point.code]) for point in self.points]

    @property
    def answers(self) -> dict[str, str]:
        given = self.cleaned_data
        return {point.code: given[point.code] for point in self.points if given.get(point.code)}


class VariationForm(OnSiteForm):
    kind = forms.ChoiceField(
        label="What differs?", choices=Variation.Kind.choices, widget=forms.RadioSelect
    )
    reason = forms.CharField(label="Why?", max_length=300, widget=forms.Textarea(attrs={"rows": 2}))
    meaning = forms.ChoiceField(
        label="What does it mean for the loft?",
        choices=Variation.Meaning.choices,
        widget=forms.RadioSelect,
    )
    area = forms.ChoiceField(label="Where?", required=False)
    depth_mm = forms.FloatField(
        label="Depth there mm",
        required=False,
        min_value=0,
        max_value=1500,
        widget=forms.NumberInput(
            attrs={
                "inputmode": "numeric",
                "step": "any",
                **needed_when("kind=depth_reduced", "How deep does it lie there?"),
            }
        ),
        help_text="Where it lies thinner than planned.",
    )
    photo_key = forms.UUIDField(label="Photo of it", required=False)

    def __init__(
        self,
        *args: Any,
        areas: Iterable[LoftArea] = (),
        photos: Iterable[tuple[str, str]] = (),
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        where: Any = self.fields["area"]
        where.choices = [("", "the whole loft"), *((a.name, a.name) for a in areas)]
        shown: Any = self.fields["photo_key"]
        shown.widget = forms.Select(choices=[("", "none"), *photos])


class StopForm(OnSiteForm):
    found = forms.MultipleChoiceField(
        label="What did you find?",
        required=False,
        choices=[(question.code, question.short) for question in hazards()],
        widget=forms.CheckboxSelectMultiple,
    )
    stop_reason = forms.CharField(
        label="Why does the work stop?",
        max_length=300,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="What you found and where. The office reads it at once.",
    )


class LeaveForm(PlacedForm):
    loft_closed = ChooseYesNo(label="Is the hatch shut and sealed?")
    site_clear = ChooseYesNo(label="Are offcuts, packaging and tools in the van?")
    note = note_field(
        "What is left open or left behind?",
        "Only if something is.",
        needed_when(
            "loft_closed=no|site_clear=no", "Say what is left open or left behind, and why."
        ),
    )
