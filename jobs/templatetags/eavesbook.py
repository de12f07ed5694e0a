"""Presentation only: the marks, quantities and form fields that every page shares.

Nothing here decides anything about a job. Each tag takes a value that the domain has
already settled and draws it in the one way the whole service draws it.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django import template
from django.core.paginator import Page
from django.forms import BaseForm, BoundField
from django.template.context import RequestContext
from django.utils.html import format_html
from django.utils.safestring import SafeString

from jobs.models.jobs import Stage
from jobs.pages.refusals import words_of
from jobs.templatetags.depth_picture import DepthPicture, picture_depth

register = template.Library()

STAGE_WORDS: dict[str, str] = {stage.value: str(stage.label) for stage in Stage}

#: The straight road of a job, in order: `short` and `called_off` are departures from it.
STAGE_ROAD = tuple(stage.value for stage in Stage if stage not in (Stage.SHORT, Stage.CALLED_OFF))

#: Verdicts are the compliance room's, which this room may not import; its tests hold them together.
VERDICT_WORDS: dict[str, str] = {"meets": "Meets", "short": "Short", "unproven": "Unproven"}

#: Things that are counted, and what more or less than one of them are called.
COUNTED: dict[str, str] = {"roll": "rolls", "tube": "tubes", "set": "sets"}

#: How a unit is set, by the plain spelling used in code and in field-name suffixes.
UNIT_SIGNS: dict[str, str] = {
    "m2": "m²",
    "m3": "m³",
    "mm2": "mm²",
    "mm2/m": "mm²/m",
    "W/m2K": "W/m²K",
    "m2K/W": "m²K/W",
    "W/mK": "W/mK",
    "degC": "°C",
    "deg": "°",
    "percent": "%",
    "hours": "h",
    "kwh": "kWh",
    "piece": "",  # two pairs of gloves are "2", not "2 piece"
}

#: Field-name endings that are units (`depth_mm`): the label loses them, the suffix shows them.
UNIT_ENDINGS = ("mm2", "mm", "m2", "m3", "m", "deg", "percent", "hours", "days", "kg", "kwh")

#: Units inside a sentence of the engine, which writes them in plain letters.
PLAIN_UNIT = re.compile(r"(?<![A-Za-z])(W/m2K|m2K/W|mm2|m2|m3)(?![A-Za-z0-9/])")

NO_BREAK_SPACE = "\u00a0"
NARROW_SPACE = "\u202f"  # narrow no-break space, so that a number never parts from its unit
MINUS = "\u2212"


@register.inclusion_tag("partials/stage_mark.html")
def stage_mark(stage: str) -> dict[str, str]:
    """The shape and word of a job's stage; an unknown stage shows its own name."""
    word = STAGE_WORDS.get(stage, str(stage).replace("_", " ").capitalize())
    return {"stage": stage, "word": word}


@dataclass(frozen=True)
class RoadStep:
    """One stage on the road, as seen from where the job stands: passed, here or ahead."""

    stage: str
    place: str


@register.inclusion_tag("partials/stage_road.html")
def stage_road(stage: str) -> dict[str, Any]:
    """The whole road of a job with the place where it stands; departures stand at the end."""
    if stage == Stage.CALLED_OFF:
        return {"steps": [RoadStep(stage, "here")]}
    road = list(STAGE_ROAD)
    if stage == Stage.SHORT:
        road.insert(road.index(Stage.CERTIFIED.value), Stage.SHORT.value)
    here = road.index(stage) if stage in road else -1
    places = (
        "passed" if at < here else "here" if at == here else "ahead" for at in range(len(road))
    )
    return {"steps": [RoadStep(step, place) for step, place in zip(road, places, strict=True)]}


@register.inclusion_tag("partials/verdict_mark.html")
def verdict_mark(verdict: str | None) -> dict[str, str]:
    """The shape and word of a verdict; no verdict yet is said in words."""
    if not verdict:
        return {"verdict": "", "word": "Not assessed"}
    return {"verdict": verdict, "word": VERDICT_WORDS.get(verdict, str(verdict).capitalize())}


@register.inclusion_tag("partials/passed_mark.html")
def passed_mark(passed: bool | None) -> dict[str, bool | None]:
    """Met, not met, or not known (None), with its shape."""
    return {"passed": passed}


@register.simple_tag
def quantity(
    value: float | Decimal | None,
    unit: str = "",
    places: int | str | None = None,
    missing: str = "not measured",
) -> SafeString:
    """A number in tabular figures with its unit, never parted from it by a line break.

    `places` fixes the decimals; without it (or empty, as a template passes what is not set) the
    number is shown as it is, floats to at most three decimals. `missing` is what stands where
    there is no number (None or empty).
    """
    if value is None or value == "":
        return format_html('<span class="quantity quantity-missing">{}</span>', missing)
    number = _number_text(value, places)
    sign = COUNTED.get(unit, unit) if number != "1" else unit
    sign = UNIT_SIGNS.get(sign, sign)
    if not sign:
        return format_html('<span class="quantity">{}</span>', number)
    gap = "" if sign in ("°", "%") else NARROW_SPACE
    return format_html(
        '<span class="quantity">{}{}<span class="unit">{}</span></span>', number, gap, sign
    )


def _number_text(value: float | Decimal, places: int | str | None) -> str:
    """Digits with thousands set apart by commas and a true minus sign."""
    if isinstance(value, str):
        return value
    if places not in (None, ""):
        text = f"{value:,.{places}f}"
    elif isinstance(value, float):
        text = f"{value:,.3f}".rstrip("0").rstrip(".")
    else:
        text = f"{value:,}"
    return text.replace("-", MINUS)


@register.filter
def signed_units(sentence: object) -> str:
    """A sentence with its plain units set as signs: "4.2 m2" is "4.2 m²"."""
    return PLAIN_UNIT.sub(lambda found: UNIT_SIGNS[found[0]], str(sentence))


@register.filter
def whole_postcode(address: object) -> str:
    """A postcode, or an address that ends in one, whose postcode no line end cuts in two."""
    return NO_BREAK_SPACE.join(str(address).rsplit(" ", 1))


@register.inclusion_tag("partials/depth_scale.html")
def depth_scale(
    target_mm: float,
    existing_mm: float = 0,
    layers_mm: Sequence[float] = (),
    measured_mm: float | None = None,
) -> dict[str, DepthPicture]:
    """A ruler in mm: what was there, what was laid, the lowest reading, and the depth required."""
    return {"picture": picture_depth(target_mm, existing_mm, tuple(layers_mm), measured_mm)}


@register.inclusion_tag("partials/field.html")
def field(
    bound: BoundField, unit: str = "", width: str = "", show_help: bool = True
) -> dict[str, Any]:
    """One form field: label, help, input with its unit, and what is wrong with it.

    The unit is read off the field's name (`depth_mm`) unless given. `width` is "", "short"
    or "full".
    """
    chosen = "select" in bound.widget_type  # its choices carry their units themselves
    shown_unit = unit or ("" if chosen else _unit_ending(bound.name))
    kind = "group" if bound.use_fieldset else "tick" if bound.widget_type == "checkbox" else "line"
    return {
        "bound": bound,
        "label": label_without_unit(bound),
        "kind": kind,
        "help": bound.help_text if show_help else "",
        "unit": UNIT_SIGNS.get(shown_unit, shown_unit),
        "width": width,
        "described_by": bound.aria_describedby if bound.use_fieldset else None,
    }


@register.filter
def label_without_unit(bound: BoundField) -> str:
    """A field's label without the unit that its name ends in: `depth_mm` is "Depth"."""
    label, ending = str(bound.label or ""), _unit_ending(bound.name)
    if ending and label.lower().endswith(f" {ending}"):
        return label[: -len(ending) - 1]
    return label


def _unit_ending(name: str) -> str:
    """The unit a field name ends in, or an empty string."""
    parts = name.rsplit("_", 1)
    return parts[1] if len(parts) == 2 and parts[1] in UNIT_ENDINGS else ""


@register.inclusion_tag("partials/fields.html")
def fields(form: BaseForm) -> dict[str, BaseForm]:
    """Every field of a form in order, hidden ones included, and the form's own errors on top."""
    return {"form": form}


@register.inclusion_tag("partials/error_summary.html")
def error_summary(form: BaseForm, lead: str = "Not saved yet") -> dict[str, Any]:
    """What is wrong with a submitted form, each line a link to the field that mends it.

    lead: what has not come about, for a form that saves nothing.
    """
    faulty = [bound for bound in form.visible_fields() if bound.errors]
    return {"form": form, "faulty": faulty, "lead": lead}


@register.inclusion_tag("partials/left_over.html", takes_context=True)
def left_over(context: RequestContext) -> dict[str, Any]:
    """A refused form that the page offers no more: why, and what was given, to be copied."""
    form = context.get("left_over")
    return {"form": form, "words": words_of(form) if form else []}


@register.inclusion_tag("partials/sort_heading.html", takes_context=True)
def sort_heading(
    context: RequestContext, label: str, key: str, kind: str = "", parameter: str = "order"
) -> dict[str, Any]:
    """A column heading that sorts: a link that turns the order round on the second press.

    The order is read from `parameter` of the query string, `key` or `-key`. `kind` is the
    cell class, "number" for columns of figures.
    """
    current = context["request"].GET.get(parameter, "")
    direction = {key: "ascending", f"-{key}": "descending"}.get(current, "")
    following = f"-{key}" if current == key else key
    return {
        "label": label,
        "kind": kind,
        "direction": direction,
        "url": replaced_query(context, **{parameter: following, "page": None, "cursor": None}),
    }


@register.simple_tag(takes_context=True)
def replaced_query(context: RequestContext, **changes: object) -> str:
    """The present query string with some parameters replaced; None drops one."""
    query = context["request"].GET.copy()
    for name, value in changes.items():
        query.pop(name, None)
        if value is not None:
            query[name] = str(value)
    return f"?{query.urlencode()}" if query else "?"


@dataclass(frozen=True)
class PageLink:
    """A page in the pager: its number, its address, and whether it is the one shown."""

    number: int | str
    url: str
    current: bool = False


@register.inclusion_tag("partials/pager.html", takes_context=True)
def pager(context: RequestContext, page: Page[Any], noun: str = "rows") -> dict[str, Any]:
    """Which rows of how many, and the way to the others, keeping the filter that is set."""
    numbers = page.paginator.get_elided_page_range(page.number, on_each_side=1, on_ends=1)
    links = [
        PageLink(
            number,
            replaced_query(context, page=number) if isinstance(number, int) else "",
            number == page.number,
        )
        for number in numbers
    ]
    return {
        "page": page,
        "noun": noun,
        "links": links if page.paginator.num_pages > 1 else [],
        "newer": replaced_query(context, page=page.number - 1) if page.has_previous() else "",
        "older": replaced_query(context, page=page.number + 1) if page.has_next() else "",
    }
