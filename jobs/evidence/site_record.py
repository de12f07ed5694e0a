"""What one visit has so far: from arrival and survey to handover and leaving. Read once a page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

from calculations.depths import (
    DepthRequirement,
    DepthVerdict,
    MeasuringPoint,
    Reading,
    assess_depths,
    where_to_measure,
)
from calculations.drawing import PhotoPoint, photo_points
from calculations.loft import Loft
from jobs.errors import Refused
from jobs.lofts import loft_of
from jobs.models import (
    Arrival,
    DepthReading,
    Handover,
    LayerPlan,
    Leave,
    Photo,
    PreStartCheck,
    Survey,
    Variation,
    Visit,
    WorkStep,
)
from jobs.surveying.quantities import current_layer_plan, current_survey
from jobs.targets import DepthTarget, depth_target


@dataclass(frozen=True)
class SiteRecord:
    """The records of a visit and what the engine makes of them.

    On a call-back the after photos and readings are those of the call-back alone: earlier ones
    show the loft as it was. Otherwise they are the job's.
    """

    visit: Visit
    survey: Survey | None
    plan: LayerPlan | None
    target: DepthTarget | None
    check: PreStartCheck | None
    photos: tuple[Photo, ...]
    readings: tuple[DepthReading, ...]
    handover: Handover | None
    arrival: Arrival | None = None
    steps: dict[str, WorkStep] = field(default_factory=dict)
    variations: tuple[Variation, ...] = ()
    left: Leave | None = None

    @property
    def by_steps(self) -> bool:
        """Whether this visit records its steps one by one.

        Visits of the time before, and records of programs that tell no phone clock, do not:
        there the layers count as laid once a photo or reading after them is there.
        """
        begun = self.check is not None and self.check.phone_sent_at is None
        seen = begun or self.visit.status == Visit.Status.DONE
        return bool(self.arrival or self.steps) or not seen

    @cached_property
    def layer_kinds(self) -> frozenset[str]:
        """Kinds of the planned layers, such as across_joists; empty without a plan."""
        layers = self.plan.quantities.get("layers", ()) if self.plan else ()
        return frozenset(layer["kind"] for layer in layers)

    @cached_property
    def loft(self) -> Loft | None:
        return loft_of(self.survey) if self.survey else None

    @cached_property
    def points(self) -> tuple[PhotoPoint, ...]:
        return photo_points(self.loft) if self.loft else ()

    def points_at(self, moment: str) -> tuple[PhotoPoint, ...]:
        """The photo points to be taken before, or after."""
        return tuple(point for point in self.points if point.moment in (moment, "both"))

    def photos_at(self, moment: str) -> tuple[Photo, ...]:
        return tuple(photo for photo in self.photos if photo.moment == moment)

    def points_missing(self, moment: str) -> tuple[PhotoPoint, ...]:
        taken = {photo.point_label for photo in self.photos_at(moment)}
        return tuple(point for point in self.points_at(moment) if point.label not in taken)

    @cached_property
    def requirement(self) -> DepthRequirement | None:
        return self.target.requirement if self.target else None

    @cached_property
    def placed_readings(self) -> list[Reading]:
        """The readings that lie on the present survey, as the engine takes them."""
        names = {area.name for area in self.loft.areas} if self.loft else set()
        return [engine_reading(row) for row in self.readings if row.area.name in names]

    @cached_property
    def verdict(self) -> DepthVerdict | None:
        """What the readings come to against the depth asked today; the office's verdict counts."""
        if self.loft is None or self.requirement is None or not self.readings:
            return None
        return assess_depths(self.loft, self.placed_readings, self.requirement)

    @cached_property
    def still_to_measure(self) -> Sequence[MeasuringPoint]:
        if self.loft is None or self.requirement is None:
            return ()
        return where_to_measure(self.loft, self.placed_readings, self.requirement)


def engine_reading(row: DepthReading) -> Reading:
    return Reading(
        area=row.area.name,
        x_mm=row.x_mm,
        y_mm=row.y_mm,
        depth_mm=row.depth_mm,
        allowance=row.allowance,  # type: ignore[arg-type]
    )


def site_record_of(visit: Visit) -> SiteRecord:
    """Everything about a visit, in a fixed number of queries."""
    call_back = visit.kind == Visit.Kind.CALL_BACK
    photos = Photo.objects.current().filter(job_id=visit.job_id)
    readings = DepthReading.objects.current().filter(visit__job_id=visit.job_id)
    if call_back:
        readings = readings.filter(visit=visit)
    return SiteRecord(
        visit=visit,
        survey=current_survey(visit.job),
        plan=current_layer_plan(visit.job),
        target=_target_of(visit),
        check=visit.pre_start_checks.current().last(),
        photos=tuple(
            photo
            for photo in photos.prefetch_related("inspections")
            if not call_back or photo.moment == "before" or photo.visit_id == visit.pk
        ),
        readings=tuple(readings.select_related("area", "replaces")),
        handover=visit.handovers.current().last(),
        arrival=visit.arrivals.current().last(),
        steps={row.step: row for row in visit.work_steps.current()},
        variations=tuple(
            Variation.objects.current().filter(visit__job_id=visit.job_id).with_photo()
        ),
        left=visit.leaves.current().last(),
    )


def _target_of(visit: Visit) -> DepthTarget | None:
    try:
        return depth_target(visit.job)
    except Refused:
        return None
