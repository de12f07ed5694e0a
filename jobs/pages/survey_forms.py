"""The survey form: lengths in metres, joists and depths in millimetres, as they are measured."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django import forms
from django.forms import BaseFormSet, formset_factory
from django.http import QueryDict

from jobs.errors import Refused
from jobs.models import Fixture, Hazard, LoftArea, Obstacle, Survey
from jobs.pages.day_inputs import DayInput
from jobs.surveying.records import Measurements
from jobs.surveying.shapes import (
    Rectangle,
    corners_to_outline_mm,
    outline_to_corners,
    rectangle_of,
)

DIRECTIONS = ((90.0, "Up the drawing"), (0.0, "Across the drawing"))
OUTLINE_HELP = (
    "Only for a shape that is no rectangle: one corner a line, metres across and metres up, "
    "such as 8.0 6.0."
)


def metres(label: str, *, least: float = 0.0, required: bool = False, most: float = 60) -> Any:
    return forms.FloatField(
        label=label,
        required=required,
        min_value=least,
        max_value=most,
        widget=forms.NumberInput(attrs={"step": "any", "inputmode": "decimal"}),
    )


def of_model(model: Any, name: str, **options: Any) -> Any:
    """The form field Django makes of a model field, with its limits and default."""
    column = model._meta.get_field(name)
    made = column.formfield(**options)
    if column.has_default() and "initial" not in options:
        made.initial = column.get_default()
    made.validators = [*made.validators, *column.validators]
    if isinstance(made, forms.FloatField):
        made.widget.attrs.update({"step": "any", "inputmode": "decimal"})
    return made


class SurveyForm(forms.ModelForm):
    class Meta:
        model = Survey
        fields = [
            "surveyed_on",
            "roof_form",
            "roof_pitch_deg",
            "rafter_depth_mm",
            "roof_span_m",
            "underlay",
            "eaves_opening_mm",
            "ridge_opening_mm",
            "loft_is_empty",
            "access_note",
            "note",
        ]
        widgets = {
            "surveyed_on": DayInput(),
            "access_note": forms.Textarea(attrs={"rows": 2}),
            "note": forms.Textarea(attrs={"rows": 2}),
        }
        labels = {
            "roof_pitch_deg": "Pitch",
            "roof_form": "Form",
            "rafter_depth_mm": "Rafter depth",
            "roof_span_m": "Span, plate to plate",
            "eaves_opening_mm": "Opening at the eaves",
            "ridge_opening_mm": "Opening at the ridge",
            "loft_is_empty": "The loft is empty",
        }


class OutlineForm(forms.Form):
    """A place on the floor: a rectangle, or corners for any other shape."""

    length_m = metres("Length (across)", least=0.05, required=True)
    width_m = metres("Width (up)", least=0.05, required=True)
    left_m = metres("From the left", least=-60)
    lower_m = metres("From below", least=-60)
    corners = forms.CharField(
        label="Corners",
        required=False,
        help_text=OUTLINE_HELP,
        widget=forms.Textarea(attrs={"rows": 3, "inputmode": "decimal"}),
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        try:
            cleaned["outline_mm"] = self._outline(cleaned)
        except Refused as error:
            self.add_error(error.field or "corners", str(error))
        return cleaned

    def _outline(self, cleaned: dict[str, Any]) -> list[list[float]]:
        if cleaned.get("corners", "").strip():
            for name in ("length_m", "width_m"):  # corners say it all
                self.errors.pop(name, None)
            return corners_to_outline_mm(cleaned["corners"])
        length, width = cleaned.get("length_m"), cleaned.get("width_m")
        if length is None or width is None:
            return []
        place = Rectangle(
            cleaned.get("left_m") or 0.0, cleaned.get("lower_m") or 0.0, length, width
        )
        return place.outline_mm()

    @staticmethod
    def initial_of(outline_mm: list[list[float]]) -> dict[str, Any]:
        rectangle = rectangle_of(outline_mm)
        if rectangle is None:
            return {"corners": outline_to_corners(outline_mm)}
        return {
            name: getattr(rectangle, name) for name in ("left_m", "lower_m", "length_m", "width_m")
        }


class AreaForm(OutlineForm):
    name = of_model(LoftArea, "name", label="Name", initial="Main loft")
    eaves_sides = forms.CharField(
        label="Sides at the eaves",
        required=False,
        help_text="Numbers of the sides that lie on a wall plate, as on the drawing, such as 1, 3.",
    )
    joist_spacing_mm = of_model(LoftArea, "joist_spacing_mm", label="Joist centres")
    joist_depth_mm = of_model(LoftArea, "joist_depth_mm", label="Joist depth")
    joist_width_mm = of_model(LoftArea, "joist_width_mm", label="Joist width")
    joist_direction_deg = forms.TypedChoiceField(
        label="Joists run", choices=DIRECTIONS, coerce=float, initial=90.0
    )
    existing_depth_mm = of_model(LoftArea, "existing_depth_mm", label="Insulation there now")
    existing_condition = of_model(LoftArea, "existing_condition", label="What becomes of it")
    holes = forms.CharField(
        label="Hole in the floor",
        required=False,
        help_text="Corners of a stairwell or shaft inside the area; an empty line between two.",
        widget=forms.Textarea(attrs={"rows": 2}),
    )

    field_order = ("name", "length_m", "width_m", "eaves_sides")
    # What stands on every survey first; the rest folds away.
    folded = ("left_m", "lower_m", "corners", "holes", "joist_width_mm")

    def clean_eaves_sides(self) -> list[int]:
        text = self.cleaned_data["eaves_sides"].replace(";", ",").replace(" ", ",")
        try:
            sides = sorted({int(piece) for piece in text.split(",") if piece})
        except ValueError as error:
            raise forms.ValidationError(
                "Write side numbers from the drawing, such as 1, 3."
            ) from error
        if sides and sides[0] < 1:
            raise forms.ValidationError("Sides are numbered from 1.")
        return [side - 1 for side in sides]

    def clean_holes(self) -> list[list[list[float]]]:
        blocks = [
            b for b in self.cleaned_data["holes"].replace("\r", "").split("\n\n") if b.strip()
        ]
        try:
            return [corners_to_outline_mm(block) for block in blocks]
        except Refused as error:
            raise forms.ValidationError(str(error)) from error

    def to_row(self) -> LoftArea:
        c = self.cleaned_data
        return LoftArea(
            name=c["name"],
            outline_mm=c["outline_mm"],
            holes_mm=c["holes"],
            eaves_edges=c["eaves_sides"],
            joist_spacing_mm=c["joist_spacing_mm"],
            joist_depth_mm=c["joist_depth_mm"],
            joist_width_mm=c["joist_width_mm"],
            joist_direction_deg=c["joist_direction_deg"],
            existing_depth_mm=c["existing_depth_mm"],
            existing_condition=c["existing_condition"],
        )

    @classmethod
    def initial_from(cls, area: LoftArea) -> dict[str, Any]:
        return cls.initial_of(area.outline_mm) | {
            "name": area.name,
            "eaves_sides": ", ".join(str(side + 1) for side in area.eaves_edges),
            "holes": "\n\n".join(outline_to_corners(hole) for hole in area.holes_mm),
            "joist_spacing_mm": area.joist_spacing_mm,
            "joist_depth_mm": area.joist_depth_mm,
            "joist_width_mm": area.joist_width_mm,
            "joist_direction_deg": area.joist_direction_deg,
            "existing_depth_mm": area.existing_depth_mm,
            "existing_condition": area.existing_condition,
        }


class ObstacleForm(OutlineForm):
    kind = of_model(Obstacle, "kind", label="Kind")
    name = of_model(Obstacle, "name", label="Name")
    underside_mm = of_model(Obstacle, "underside_mm", label="Underside of a raised deck")
    field_order = ("kind", "name", "length_m", "width_m", "left_m", "lower_m")
    folded = ("underside_mm", "corners")

    def to_row(self) -> Obstacle:
        c = self.cleaned_data
        return Obstacle(
            kind=c["kind"],
            name=c["name"],
            outline_mm=c["outline_mm"],
            underside_mm=c["underside_mm"],
        )

    @classmethod
    def initial_from(cls, obstacle: Obstacle) -> dict[str, Any]:
        return cls.initial_of(obstacle.outline_mm) | {
            "kind": obstacle.kind,
            "name": obstacle.name,
            "underside_mm": obstacle.underside_mm,
        }


class FixtureForm(forms.Form):
    kind = of_model(Fixture, "kind", label="Kind")
    name = of_model(Fixture, "name", label="Name")
    x_m = metres("From the left", least=-60, required=True)
    y_m = metres("From below", least=-60, required=True)
    to_x_m = metres("Runs to, from the left", least=-60)
    to_y_m = metres("Runs to, from below", least=-60)
    load_w = of_model(Fixture, "load_w", label="Load", help_text="Watts, for a cable.")
    conductor_mm2 = of_model(
        Fixture, "conductor_mm2", label="Conductor", help_text="mm² as printed on the cable."
    )
    high_load = of_model(Fixture, "high_load", label="High load (shower, cooker)")
    folded = ("to_x_m", "to_y_m", "load_w", "conductor_mm2", "high_load")

    def to_row(self) -> Fixture:
        c = self.cleaned_data

        def mm(name: str) -> float | None:
            return None if c[name] is None else c[name] * 1000

        return Fixture(
            kind=c["kind"],
            name=c["name"],
            x_mm=c["x_m"] * 1000,
            y_mm=c["y_m"] * 1000,
            to_x_mm=mm("to_x_m"),
            to_y_mm=mm("to_y_m"),
            load_w=c["load_w"],
            conductor_mm2=c["conductor_mm2"],
            high_load=c["high_load"],
        )

    @classmethod
    def initial_from(cls, fixture: Fixture) -> dict[str, Any]:
        def m(value: float | None) -> float | None:
            return None if value is None else value / 1000

        return {
            "kind": fixture.kind,
            "name": fixture.name,
            "x_m": m(fixture.x_mm),
            "y_m": m(fixture.y_mm),
            "to_x_m": m(fixture.to_x_mm),
            "to_y_m": m(fixture.to_y_mm),
            "load_w": fixture.load_w,
            "conductor_mm2": fixture.conductor_mm2,
            "high_load": fixture.high_load,
        }


class HazardForm(forms.Form):
    kind = of_model(Hazard, "kind", label="Kind")
    note = of_model(
        Hazard,
        "note",
        label="Where, and what was seen",
        help_text="Without names: drawings and verdicts repeat it.",
    )
    folded = ()

    def to_row(self) -> Hazard:
        return Hazard(kind=self.cleaned_data["kind"], note=self.cleaned_data["note"])

    @classmethod
    def initial_from(cls, hazard: Hazard) -> dict[str, Any]:
        return {"kind": hazard.kind, "note": hazard.note}


PARTS: tuple[tuple[str, str, str, Any], ...] = (
    ("areas", "Areas", "area", AreaForm),
    ("obstacles", "Obstacles", "obstacle", ObstacleForm),
    ("fixtures", "Fixtures", "fixture", FixtureForm),
    ("hazards", "Hazards", "hazard", HazardForm),
)


def _complaints(form: forms.BaseForm, place: str) -> Iterator[str]:
    """Each error of a form with its place and field in words."""
    for name, errors in form.errors.items():
        label = "" if name == "__all__" else f"{form[name].label}: "
        yield from (f"{place}{label}{error}" for error in errors)


class SurveySheet:
    """The whole form: the survey's own fields and a list of forms for each part."""

    def __init__(
        self, survey: Survey, source: Survey | None, data: QueryDict | None = None
    ) -> None:
        """`source` is the survey whose measures are shown: the draft, the last one, or none."""
        self.survey, self.source = survey, source
        self.form = SurveyForm(data, instance=survey, prefix="survey")
        self.parts = [
            (title, noun, self._formset(name, form, source, data))
            for name, title, noun, form in PARTS
        ]

    @staticmethod
    def _formset(
        name: str, form: Any, source: Survey | None, data: QueryDict | None
    ) -> BaseFormSet[Any]:
        stored = [] if source is None else getattr(source, name).all()
        rows = [form.initial_from(row) for row in stored]
        made = formset_factory(
            form,
            extra=1 if name == "areas" and not rows else 0,
            can_delete=True,
            min_num=0,
            max_num=60,
            absolute_max=60,
        )
        # Typed rows are weighed by themselves: compared with what is stored, an unchanged row of a
        # page that was loaded earlier would count as empty and vanish.
        return made(data, initial=rows if data is None else None, prefix=name)

    def is_valid(self) -> bool:
        checks = [self.form.is_valid(), *(formset.is_valid() for _, _, formset in self.parts)]
        return all(checks)

    def errors(self) -> list[str]:
        """Every complaint with its place, for the note beside the drawing."""
        found = list(_complaints(self.form, ""))
        for _, noun, formset in self.parts:
            for number, form in enumerate(formset.forms, start=1):
                found += _complaints(form, f"{noun.capitalize()} {number}, ")
        return found

    def measured(self) -> Measurements:
        """What was typed, as rows not yet saved. Only after `is_valid`."""
        rows = {
            formset.prefix: tuple(
                form.to_row()
                for form in formset.forms
                if form.cleaned_data and not form.cleaned_data.get("DELETE")
            )
            for _, _, formset in self.parts
        }
        fields = {name: self.form.cleaned_data[name] for name in self.form.Meta.fields}
        return Measurements(survey_fields=fields, **rows)
