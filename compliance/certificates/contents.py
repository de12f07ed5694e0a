"""Everything a certificate prints, gathered once and then fixed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any

from django.conf import settings
from django.urls import reverse
from django.utils import timezone

from calculations.loft import Condition
from calculations.records import Plain, to_plain
from compliance.certificates.cautions import HOUSEHOLDER_CAUTIONS
from compliance.certificates.photos import PhotoLine, photos_of, photos_shown
from compliance.certificates.sheets import SHEET, typesetter
from compliance.drawings import draw_assessment
from compliance.models import Assessment
from jobs.models import Handover, LayerPlan, Photo, Survey, Variation
from jobs.models.phone_records import ERASED

NOT_ALL_DONE = "Not all was done: "
"""How an exception begins that repeats what was left undone, in the crew's words."""
U_VALUE_METHOD = (
    "Calculated from survey and layers by the combined method of ISO 6946 at joist level, not "
    "measured; weighted by area."
)


@dataclass(frozen=True, slots=True)
class AreaLine:
    """Depths of one loft area [mm] and its open floor [m2]."""

    area: str
    open_area_m2: float
    counted: int
    needed: int
    mean_mm: float
    least_mm: float


@dataclass(frozen=True, slots=True)
class LayerLine:
    """One layer of an area, the lowest first: what was there, then what was laid on it.

    short: where it lies, for a line of several. full: False for a strip at the eaves alone.
    """

    area: str
    layer: str
    short: str
    product: str
    thickness_mm: float
    full: bool


@dataclass(frozen=True, slots=True)
class CheckLine:
    """One line of the arithmetic."""

    area: str
    label: str
    expression: str
    result: str


@dataclass(frozen=True, slots=True)
class WrittenCaution:
    title: str
    text: str


@dataclass(frozen=True, slots=True)
class Contents:
    """All words, figures and drawings of a certificate. Depths in mm, U-values in W/m2K.

    photos_shown: the small copies printed in the annex. sheet: the edition of the sheet it is set
    on, and typesetter: the version of what set it; both stay what they were when it is made again.
    """

    code: str
    check_address: str
    issued_at: str
    invented: bool
    company: str
    scheme: str
    job_reference: str
    property_reference: str
    address: tuple[str, ...]
    nation: str
    min_depth_mm: float
    conductivity_w_mk: float
    rule: str
    rule_source: str
    net_area_m2: float | None
    mean_depth_mm: float
    least_depth_mm: float
    reading_count: int
    areas: tuple[AreaLine, ...]
    layers: tuple[LayerLine, ...]
    u_before_w_m2k: float | None
    u_after_w_m2k: float | None
    u_value_method: str
    exceptions: tuple[str, ...]
    cautions: tuple[WrittenCaution, ...]
    surveyed: str
    fitted: str
    handed_over: str
    assessed: str
    photos: str
    engine_version: str
    inputs_sha256: str
    arithmetic: tuple[CheckLine, ...]
    drawing_svg: str
    photos_shown: tuple[PhotoLine, ...] = ()
    sheet: int = 1
    typesetter: str = ""

    def to_dict(self) -> dict[str, Plain]:
        plain = to_plain(self)
        assert isinstance(plain, dict)
        return plain


PARTS: dict[str, type] = {
    "areas": AreaLine,
    "layers": LayerLine,
    "cautions": WrittenCaution,
    "arithmetic": CheckLine,
    "photos_shown": PhotoLine,
}


def contents_from_dict(stored: Mapping[str, Any]) -> Contents:
    """What `Contents.to_dict` gave, back as it was; of an earlier day what it had then."""
    values = {f.name: stored[f.name] for f in fields(Contents) if f.name in stored}
    for name, value in values.items():
        if name in PARTS:
            values[name] = tuple(PARTS[name](**row) for row in value)
        elif isinstance(value, list):
            values[name] = tuple(value)
    return Contents(**values)


def contents_of(
    assessment: Assessment, code: str, issued_at: datetime, photos: Sequence[Photo] | None = None
) -> Contents:
    """What a certificate on this assessment says. `photos`: its own, where they are read already.

    Raises:
        PictureLost: a small copy of a photo is gone.
    """
    job = assessment.job
    home = job.property
    rule = assessment.rule
    plan = _plan_of(assessment)
    handover = _handover_of(assessment)
    survey = Survey.objects.select_related("surveyed_by").get(pk=assessment.inputs["survey_id"])
    return Contents(
        code=code,
        check_address=check_address(code),
        issued_at=issued_at.isoformat(),
        invented=job.company.is_invented,
        company=job.company.name,
        scheme=job.scheme.name,
        job_reference=job.reference,
        property_reference=home.reference,
        address=tuple(
            line
            for line in (home.address_line_1, home.address_line_2, home.town, home.postcode)
            if line
        ),
        nation=home.get_nation_display(),
        min_depth_mm=rule.min_depth_mm,
        conductivity_w_mk=rule.conductivity_w_mk,
        rule=f"Depth rule of {rule.get_nation_display()} from {_date(rule.starts_on)}",
        rule_source=rule.source,
        net_area_m2=plan.net_area_m2 if plan else None,
        mean_depth_mm=assessment.mean_depth_mm or 0.0,
        least_depth_mm=assessment.least_depth_mm or 0.0,
        reading_count=assessment.reading_count,
        areas=_areas(assessment),
        layers=_layers(assessment, plan),
        u_before_w_m2k=plan.u_before_w_m2k if plan else None,
        u_after_w_m2k=plan.u_after_w_m2k if plan else None,
        u_value_method=U_VALUE_METHOD if plan else "",
        exceptions=_exceptions(assessment, plan, handover),
        cautions=tuple(WrittenCaution(c.title, c.text) for c in HOUSEHOLDER_CAUTIONS),
        surveyed=f"{_date(survey.surveyed_on)} by {survey.surveyed_by}",
        fitted=_fitted(handover),
        handed_over=_date(timezone.localtime(handover.corrected_at)),
        assessed=f"{_date(timezone.localtime(assessment.made_at))}, "
        f"assessment {assessment.number} of this job",
        photos=_photo_words(assessment),
        engine_version=assessment.engine_version,
        inputs_sha256=assessment.inputs_sha256,
        arithmetic=_arithmetic(assessment),
        drawing_svg=draw_assessment(assessment),
        photos_shown=photos_shown(photos_of(assessment) if photos is None else photos),
        sheet=SHEET,
        typesetter=typesetter(),
    )


def check_address(code: str) -> str:
    """Where anyone checks a certificate; printed and in the QR code."""
    return settings.PUBLIC_ADDRESS.rstrip("/") + reverse("check_certificate", args=[code])


def _date(day: Any) -> str:
    return f"{day.day} {day:%b %Y}"


def _plan_of(assessment: Assessment) -> LayerPlan | None:
    """The newest plan made from the very survey that the verdict rests on."""
    return LayerPlan.objects.filter(
        job=assessment.job_id, survey=assessment.inputs["survey_id"]
    ).first()


def _handover_of(assessment: Assessment) -> Handover:
    return Handover.objects.select_related("visit__crew").get(
        pk=assessment.inputs["handover"]["id"]
    )


def _areas(assessment: Assessment) -> tuple[AreaLine, ...]:
    names = [f.name for f in fields(AreaLine)]
    return tuple(
        AreaLine(**{name: area[name] for name in names})
        for area in assessment.arithmetic["depths"]["areas"]
        if area["counted"]
    )


def _layers(assessment: Assessment, plan: LayerPlan | None) -> tuple[LayerLine, ...]:
    """Area by area, from the ceiling up; nothing where no plan tells what was laid."""
    if plan is None:
        return ()
    names = {roll["roll"]: roll["name"] for roll in plan.quantities["rolls"]}
    lines = []
    for area in assessment.inputs["loft"]["areas"]:
        lines += _kept_layer(area)
        lines += [
            _laid_layer(layer, names)
            for layer in plan.quantities["layers"]
            if layer["area"] == area["name"]
        ]
    return tuple(lines)


def _kept_layer(area: Mapping[str, Any]) -> list[LayerLine]:
    depth_mm = area["existing_depth_mm"]
    if not depth_mm or area["existing_condition"] == Condition.REMOVE:
        return []
    return [
        LayerLine(area["name"], "Already there, kept", "already there", "existing", depth_mm, True)
    ]


def _laid_layer(layer: Mapping[str, Any], names: Mapping[str, str]) -> LayerLine:
    where = "between the joists" if layer["kind"] == "between_joists" else "across the joists"
    only = {"eaves": ", at the eaves", "middle": ", away from the eaves"}
    words = f"Layer {layer['number']}, {where}{only.get(layer['covers'], '')}"
    return LayerLine(
        layer["area"],
        words,
        where.removesuffix(" the joists"),
        names.get(layer["roll"], layer["roll"]),
        layer["thickness_mm"],
        layer["covers"] != "eaves",
    )


def _exceptions(
    assessment: Assessment, plan: LayerPlan | None, handover: Handover
) -> tuple[str, ...]:
    """Where the loft is not, or could not be, insulated like the rest, in sentences.

    What was left undone is told as the householder signed it: the certificate would say too much
    without it. It stays on what is issued, though an erasure takes it from the handover.
    """
    said = []
    if not handover.all_done:
        why = handover.not_done_reason
        said.append("Not all was done." if why == ERASED else f"{NOT_ALL_DONE}{why}")
    said += _told_by_crew(assessment)
    for area in assessment.arithmetic["depths"]["areas"]:
        for apart in area["allowances"]:
            place = {"eaves": "at the eaves", "tank": "beside a tank", "deck": "under a deck"}
            number = apart["readings"]
            stand = f"{number} reading" if number == 1 else f"{number} readings"
            said.append(
                f"{area['area']}: {stand} {place[apart['kind']]} stand{'s' * (number == 1)} apart, "
                f"where full depth cannot be had; the least is {apart['least_mm']:.0f} mm."
            )
    if plan is not None:
        said += [str(warning) for warning in plan.quantities.get("warnings", [])]
    return tuple(said)


def _told_by_crew(assessment: Assessment) -> Iterator[str]:
    """What a crew left out or laid thinner. Its reason is not printed: an erasure may take it."""
    lacking = (Variation.Meaning.LEFT_OUT, Variation.Meaning.LESS_DEPTH)
    told = Variation.objects.current().filter(visit__job=assessment.job_id, meaning__in=lacking)
    for row in told.select_related("area"):
        kind, meaning = row.get_kind_display(), row.get_meaning_display()
        depth = "" if row.depth_mm is None else f", {row.depth_mm:.0f} mm"
        yield (
            f"{row.area.name if row.area else 'The loft'}: {kind[0].lower()}{kind[1:]}; "
            f"{meaning[0].lower()}{meaning[1:]}{depth}, as the crew told on "
            f"{_date(timezone.localtime(row.corrected_at))}."
        )


def _fitted(handover: Handover) -> str:
    crew = handover.visit.crew
    lead = crew.operatives.filter(leads_crew=True).first()
    card = f", card {lead.card_reference}" if lead and lead.card_reference else ""
    led = f", led by {lead.name}{card}" if lead else ""
    day = _date(timezone.localtime(handover.visit.during.lower))
    return f"{day} by {crew.name}{led}"


def _photo_words(assessment: Assessment) -> str:
    moments = [photo["moment"] for photo in assessment.inputs["photos"]]
    return f"{moments.count('before')} before, {moments.count('after')} after"


def _arithmetic(assessment: Assessment) -> tuple[CheckLine, ...]:
    steps = [*assessment.arithmetic["depths"]["steps"], *assessment.arithmetic["checks"]]
    return tuple(
        CheckLine(
            step["area"] or "Other evidence", step["label"], step["expression"], _result(step)
        )
        for step in steps
    )


def _result(step: Mapping[str, Any]) -> str:
    if step["kind"] in ("pre_start_check", "handover", "work_step"):
        return "yes" if step["value"] else "no"
    if step["value"] is None:
        return "none"
    value = f"{step['value']:.1f}".removesuffix(".0")
    return f"{value}{'' if step['unit'] == '%' else ' '}{step['unit']}".strip()
