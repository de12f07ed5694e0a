"""The round sheet of a crew's day: order, times, drives, addresses, cautions, drawings, rolls."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.conf import settings
from django.utils import timezone

from calculations.drawing import draw_evidence, draw_loft, photo_points
from calculations.loft import LoftError
from jobs.contact import hide_old_contact
from jobs.evidence.day import hazards_of
from jobs.loading.load_lines import LoadLine
from jobs.loading.load_list import LoadList, load_list_of_day, seen_by
from jobs.loading.reloads import Reload, reloads_of
from jobs.lofts import loft_of
from jobs.models import Crew, LayerPlan, Survey, User, Visit, VisitOperative
from jobs.planning.travel import Drive, Position, drive_between, known_roads
from jobs.surveying.layer_sheets import LayerSheet, layer_sheet


@dataclass(frozen=True, slots=True)
class Drawing:
    """A drawing of the loft: what it shows, and its SVG."""

    title: str
    sentence: str
    svg: str


@dataclass(frozen=True, slots=True)
class RoundStop:
    """One visit of the round.

    drive: from the stop before (or where the day begins), None where a position is missing; by
    way of the depot where the van goes back for a load first. back: such goings back, in words.
    loads: numbers of the van's loads that carry something for it. rolls: the share of this visit.
    checks: what is to be cleared or kept in mind, from the layer plan.
    """

    number: int
    visit: Visit
    starts_at: datetime
    ends_at: datetime
    drive: Drive | None
    hazards: tuple[str, ...]
    access: tuple[str, ...]
    operatives: tuple[str, ...]
    rolls: tuple[LoadLine, ...]
    loads: tuple[int, ...]
    checks: tuple[LoadLine, ...]
    warnings: tuple[str, ...]
    target_depth_mm: float | None
    drawings: tuple[Drawing, ...]
    back: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class RoundSheet:
    """A crew's day in order of time. begins_at: where the first drive begins, in words."""

    crew: Crew
    day: date
    begins_at: str
    stops: tuple[RoundStop, ...]
    load_count: int
    whole: bool

    @property
    def drive(self) -> Drive:
        """All drives together, as far as they are known."""
        known = [stop.drive for stop in self.stops if stop.drive]
        return _together(known)

    @property
    def drives_note(self) -> str:
        """Where the drives are from, in a sentence."""
        if not settings.TRAVEL_ROUTER_URL:
            return "Drives are reckoned from straight distances."
        words = "Drives are by road, as the road-routing server tells them"
        return f"{words}; those marked straight are not." if self.drive.straight else f"{words}."


def round_sheet_for(user: User, crew: Crew, day: date, *, drawn: bool = True) -> RoundSheet | None:
    """The round of a crew's day as a person may see it; None where none of it concerns it.

    An installer sees the visits it is booked on or that its crew makes, with the householder's
    contact; who was lent for one visit sees that one. `drawn=False` leaves the drawings out.
    """
    visible = Visit.objects.visible_to(user) if user.role == "installer" else Visit.objects.live()
    visits = list(visible.on_day(day).filter(crew=crew).with_job().order_by("during", "id"))
    if user.role == "installer":
        hide_old_contact(visits)
    member = user.role != "installer" or crew.operatives.filter(user=user).exists()
    if not visits and not member:
        return None
    of_day = load_list_of_day(crew, day)
    loads = seen_by(user, of_day) or replace(of_day, loads=())
    whole = _all_stops(crew, day)
    back = reloads_of(
        (load.number, [part.visit.pk for part in load.parts]) for load in of_day.loads
    )
    begins, begins_at = _begins(crew)
    with known_roads([[begins_at, _depot_at(crew), *map(_position, whole)]]):
        stops = tuple(_stops(visits, whole, loads, back, drawn=drawn))
    return RoundSheet(crew, day, begins, stops, len(loads.loads), member)


def _all_stops(crew: Crew, day: date) -> list[Visit]:
    """Every visit of the day, seen or not: drives and numbers are those of the whole round."""
    rows = Visit.objects.live().on_day(day).filter(crew=crew).with_job()
    return list(rows.order_by("during", "id"))


def _begins(crew: Crew) -> tuple[str, Position | None]:
    depot_at = _depot_at(crew)
    if depot_at is not None and crew.depot is not None:
        return crew.depot.name, depot_at
    if crew.base_latitude_deg is not None and crew.base_longitude_deg is not None:
        return f"base {crew.base_postcode}".strip(), (
            crew.base_latitude_deg,
            crew.base_longitude_deg,
        )
    return "", None


def _depot_at(crew: Crew) -> Position | None:
    depot = crew.depot
    if depot is None or depot.latitude_deg is None or depot.longitude_deg is None:
        return None
    return depot.latitude_deg, depot.longitude_deg


def _position(visit: Visit) -> Position | None:
    home = visit.job.property
    if home.latitude_deg is None or home.longitude_deg is None:
        return None
    return home.latitude_deg, home.longitude_deg


def _stops(
    visits: list[Visit],
    whole: list[Visit],
    loads: LoadList,
    back: Iterable[Reload],
    *,
    drawn: bool,
) -> Iterable[RoundStop]:
    seen = {visit.pk for visit in visits}
    job_ids = {visit.job_id for visit in visits}
    hazards = hazards_of(job_ids)
    plans, surveys = _plans(job_ids), _surveys(job_ids)
    hands = _operatives(visits)
    place = _begins(loads.crew)[1]
    by_visit: dict[int, list[Reload]] = defaultdict(list)
    for reload in back:
        by_visit[reload.visit].append(reload)
    for number, visit in enumerate(whole, start=1):
        here = _position(visit)
        own = by_visit[visit.pk]
        by_depot = any(not reload.during for reload in own)
        drive = _drive(place, here, _depot_at(loads.crew) if by_depot else None)
        place = here or place
        if visit.pk in seen:
            plan, survey = plans.get(visit.job_id), surveys.get(visit.job_id)
            stop = _stop(
                number, visit, drive, plan, survey, loads, drawn,
                hazards.get(visit.job_id, ()), hands.get(visit.pk, ()),
            )  # fmt: skip
            yield replace(stop, back=tuple(_back_words(loads.crew, reload) for reload in own))


def _drive(place: Position | None, here: Position | None, depot: Position | None) -> Drive | None:
    if place is None or here is None:
        return None
    if depot is None:
        return drive_between(place, here)
    legs = drive_between(place, depot), drive_between(depot, here)
    return _together(legs)


def _together(drives: Iterable[Drive]) -> Drive:
    """Drives one after another; straight if one of them is."""
    rows = list(drives)
    return Drive(
        sum(drive.minutes for drive in rows),
        sum(drive.km for drive in rows),
        any(drive.straight for drive in rows),
    )


def _back_words(crew: Crew, reload: Reload) -> str:
    """Such as “Before it, back to Mill Lane for load 2”."""
    when = "During it" if reload.during else "Before it"
    return f"{when}, back to {crew.depot or 'the depot'} for load {reload.number}"


def _stop(
    number: int,
    visit: Visit,
    drive: Drive | None,
    plan: LayerPlan | None,
    survey: Survey | None,
    loads: LoadList,
    drawn: bool,
    hazards: tuple[str, ...],
    operatives: tuple[str, ...],
) -> RoundStop:
    lays = visit.kind in (Visit.Kind.FITTING, Visit.Kind.CALL_BACK)
    sheet = _sheet(plan) if plan and lays else None
    mine = [(load.number, p) for load in loads.loads for p in load.parts if p.visit.pk == visit.pk]
    notes = (visit.job.property.access_notes, survey.access_note if survey else "", visit.note)
    return RoundStop(
        number=number,
        visit=visit,
        starts_at=timezone.localtime(visit.during.lower),
        ends_at=timezone.localtime(visit.during.upper),
        drive=drive,
        hazards=hazards,
        access=tuple(note.strip() for note in notes if note.strip()),
        operatives=operatives,
        rolls=tuple(line for _, part in mine for line in part.rolls),
        loads=tuple(dict.fromkeys(load for load, _ in mine)),
        checks=tuple(line for v, line in loads.checks if v.pk == visit.pk),
        warnings=sheet.quantities.warnings if sheet else (),
        target_depth_mm=plan.target_depth_mm if plan and lays else None,
        drawings=_drawings(visit, sheet, survey) if drawn else (),
    )


def _sheet(plan: LayerPlan) -> LayerSheet | None:
    """The drawings of a plan; None for one that the engine of today cannot read."""
    try:
        return layer_sheet(plan)
    except (LoftError, KeyError):
        return None


def _drawings(visit: Visit, sheet: LayerSheet | None, survey: Survey | None) -> tuple[Drawing, ...]:
    """Each layer and the photo points; without layers the loft, if it was surveyed."""
    if sheet is not None:
        points = photo_points(sheet.loft)
        layers = [Drawing(f"Layer {x.number}", x.sentence, x.svg) for x in sheet.layers]
        photos = Drawing(
            "Photo points",
            "The same places before and after.",
            draw_evidence(sheet.loft, (), points),
        )
        return (*layers, photos)
    if survey is None or visit.kind == Visit.Kind.SURVEY or not survey.areas.all():
        return ()
    return (Drawing("The loft as surveyed", "", draw_loft(loft_of(survey))),)


_PARTS = ("areas", "obstacles", "fixtures", "hazards")


def _plans(job_ids: set[int]) -> Mapping[int, LayerPlan]:
    rows = (
        LayerPlan.objects.filter(job_id__in=job_ids)
        .order_by("job_id", "-id")
        .distinct("job_id")
        .select_related("survey")
        .prefetch_related(*(f"survey__{part}" for part in _PARTS))
    )
    return {plan.job_id: plan for plan in rows}


def _surveys(job_ids: set[int]) -> Mapping[int, Survey]:
    rows = (
        Survey.objects.complete()
        .filter(job_id__in=job_ids)
        .order_by("job_id", "-id")
        .distinct("job_id")
        .with_measurements()
    )
    return {survey.job_id: survey for survey in rows}


def _operatives(visits: list[Visit]) -> dict[int, tuple[str, ...]]:
    """Names by visit; who has an absence then is still named, and said to be away."""
    found: dict[int, tuple[str, ...]] = {}
    rows: Any = VisitOperative.objects.filter(visit__in=visits).select_related("operative")
    for row in rows.with_absences().order_by("pk"):
        name = f"{row.operative.name} (away)" if row.is_away else row.operative.name
        found[row.visit_id] = (*found.get(row.visit_id, ()), name)
    return found
