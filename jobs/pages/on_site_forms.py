"""What the installer fills in on site. The rules are the evidence modules'; these only read."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any
from uuid import uuid4

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from jobs.evidence.cautions import CAUTIONS
from jobs.evidence.phone_told import Told
from jobs.evidence.questions import QUESTIONS, Question
from jobs.models import DepthReading, LoftArea

WORDS_OF_ANSWER = {"yes": "Yes", "no": "No", "n-a": "None here"}


class OnSiteForm(forms.Form):
    """client_key: the same form sent twice is stored once. phone_at: the phone's clock."""

    client_key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
    phone_at = forms.CharField(widget=forms.HiddenInput, required=False)
    phone_sent_at = forms.CharField(widget=forms.HiddenInput, required=False)

    def clean_phone_at(self) -> datetime:
        """When the phone says it was; without JavaScript, when it reached us."""
        return aware_time(self.cleaned_data["phone_at"]) or timezone.now()

    def clean_phone_sent_at(self) -> datetime | None:
        """The phone's clock at sending; None without JavaScript."""
        return aware_time(self.cleaned_data["phone_sent_at"])

    @property
    def told(self) -> Told:
        given = self.cleaned_data
        return Told(given["phone_at"], given["phone_sent_at"], given["client_key"])


def needed_when(conditions: str, said: str) -> dict[str, str]:
    """A field's attributes for on_site/needed.js: which answers ("name=value|name=value") make it
    necessary, and what is said then. The evidence modules hold the rule; without signal nobody
    else can tell it in time.
    """
    return {"data-needed-when": conditions, "data-needed-said": said}


def aware_time(words: str) -> datetime | None:
    """A time with its zone, or None for anything else."""
    try:
        said = parse_datetime(words)
    except ValueError:
        return None
    return None if said is None or timezone.is_naive(said) else said


class PreStartForm(OnSiteForm):
    note = forms.CharField(
        required=False,
        max_length=300,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="What you saw and where, if anything.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for question in QUESTIONS:
            answers = ["yes", "no", *(["n-a"] if question.may_not_apply else [])]
            self.fields[question.code] = forms.ChoiceField(
                label=question.text,
                choices=[(answer, WORDS_OF_ANSWER[answer]) for answer in answers],
                widget=forms.RadioSelect,
                error_messages={"required": "Answer this one too."},
            )

    @property
    def asked(self) -> list[tuple[Question, Any]]:
        return [(question, self[question.code]) for question in QUESTIONS]

    @property
    def answers(self) -> dict[str, str]:
        return {question.code: self.cleaned_data[question.code] for question in QUESTIONS}


class ReadingForm(OnSiteForm):
    x_mm = forms.FloatField(
        label="From the left, x mm",
        error_messages={"required": "Touch the drawing where you measured."},
    )
    y_mm = forms.FloatField(
        label="From the bottom, y mm",
        error_messages={"required": "Touch the drawing where you measured."},
    )
    area = forms.ChoiceField(required=False)
    depth_mm = forms.FloatField(
        label="Depth mm",
        error_messages={"required": "Type the depth in millimetres."},
        widget=forms.NumberInput(attrs={"inputmode": "numeric", "step": "any", "min": 0}),
    )
    allowance = forms.ChoiceField(
        choices=DepthReading.Allowance.choices,
        required=False,
        widget=forms.RadioSelect,
        label="Where",
        help_text="Where full depth can't be had: at the eaves, beneath a tank, under a deck.",
    )

    def __init__(self, *args: Any, areas: Iterable[LoftArea] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        names = [(area.name, area.name) for area in areas]
        self.fields["area"].choices = [("", "the one it lies in"), *names]  # type: ignore[attr-defined]


class CorrectionForm(OnSiteForm):
    depth_mm = ReadingForm.base_fields["depth_mm"]
    correction_reason = forms.CharField(
        label="Why is it corrected?",
        max_length=200,
        help_text="Such as “typed 27 instead of 270”. No names: it stays readable.",
    )


class HandoverForm(OnSiteForm):
    cautions_given = forms.MultipleChoiceField(
        choices=[(caution.code, caution.text) for caution in CAUTIONS],
        widget=forms.CheckboxSelectMultiple,
        label="Told the householder",
        error_messages={"required": "Tell the householder the cautions, then mark them."},
    )
    all_done = forms.TypedChoiceField(
        choices=[("yes", "Everything is done"), ("no", "Something is left undone")],
        coerce=lambda word: word == "yes",
        widget=forms.RadioSelect,
        initial="yes",
        label="Is the work complete?",
    )
    not_done_reason = forms.CharField(
        required=False,
        max_length=300,
        label="What is left undone, and why?",
        help_text="About the work, without names: the verdict repeats it.",
        widget=forms.Textarea(
            attrs={"rows": 2, **needed_when("all_done=no", "Say what was not done and why.")}
        ),
    )
    signed_name = forms.CharField(max_length=120, label="Name of who signs")
    signature_svg = forms.CharField(required=False, widget=forms.HiddenInput)
    name_confirmed = forms.BooleanField(
        required=False, label="Confirmed with the typed name instead of a signature"
    )

    @property
    def always_told(self) -> str:
        """The codes that have to be marked, for the phone to know without signal."""
        return " ".join(caution.code for caution in CAUTIONS if caution.always)


class SeveralFiles(forms.FileField):
    """One or more files of one input. Empty ones pass: their refusal says what is wrong."""

    def clean(self, data: Any, initial: Any = None) -> list[UploadedFile]:
        files = data if isinstance(data, list | tuple) else [data]
        return [super(SeveralFiles, self).clean(file, initial) for file in files]


class SeveralFilesInput(forms.ClearableFileInput):
    allow_multiple_selected = True


class PhotosForm(forms.Form):
    """Files need no key: the same photo is known by its bytes."""

    point_label = forms.CharField(required=False, max_length=20)
    files = SeveralFiles(widget=SeveralFilesInput, allow_empty_file=True)
