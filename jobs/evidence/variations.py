"""Variations: where the work differs from its plan, why, and what it means for the loft."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

import pghistory

from jobs.announce import evidence_changed
from jobs.errors import Refused, refusals_explained
from jobs.evidence.phone_told import Told, required_words
from jobs.evidence.receiving import lock_visit, received_before, require_fitting, require_status
from jobs.models import Job, LoftArea, User, Variation, Visit
from jobs.surveying.quantities import current_survey

GREATEST_DEPTH_MM = 1500.0


@dataclass(frozen=True, slots=True)
class Differs:
    """What differs. area: the area's name, or empty. photo_key: client_key of a photo of it.

    depth_mm: the depth that fits there; needed where it is less than planned.
    """

    kind: str
    meaning: str
    reason: str
    area: str = ""
    depth_mm: float | None = None
    photo_key: UUID | None = None
    replaces: int | None = None


def record_variation(visit: Visit, differs: Differs, by: User, told: Told) -> Variation:
    """Keep a variation. It changes no plan and no verdict by itself: people read it.

    Raises:
        Refused: an unknown kind, meaning or area, no reason, or a depth that can't be.
        Conflict: work has not begun, or the visit is stopped.
    """
    reason = _checked(differs)
    with pghistory.context(user=by.pk, what="variation"), refusals_explained():
        visit = lock_visit(visit)
        known = received_before(Variation, visit, told.client_key)
        if known is not None:
            return known
        require_fitting(visit)
        require_status(
            visit,
            Visit.Status.BOOKED,
            Visit.Status.ON_SITE,
            Visit.Status.DONE,
            Visit.Status.STOPPED,
            remedy="Ask the office which visit it belongs to.",
        )
        variation = Variation.objects.create(
            visit=visit,
            kind=differs.kind,
            meaning=differs.meaning,
            reason=reason,
            area=_area_of(visit, differs.area),
            depth_mm=differs.depth_mm,
            photo_key=differs.photo_key,
            found_at=told.phone_at,
            recorded_by=by,
            replaces=_replaced(visit, differs.replaces),
            **told.columns,
        )
        evidence_changed.send(Job, job=visit.job)
    return variation


def _checked(differs: Differs) -> str:
    for word, name, known in (
        (differs.kind, "kind", Variation.Kind.values),
        (differs.meaning, "meaning", Variation.Meaning.values),
    ):
        if word not in known:
            raise Refused(
                f"There is no {name} {word!r}.",
                field=name,
                remedy=f"Choose from: {', '.join(known)}.",
            )
    if differs.kind == Variation.Kind.DEPTH_REDUCED and differs.depth_mm is None:
        raise Refused("How deep does it lie there?", field="depth_mm", remedy="Give millimetres.")
    if differs.depth_mm is not None and not 0 <= differs.depth_mm <= GREATEST_DEPTH_MM:
        raise Refused(
            f"{differs.depth_mm:g} mm can't be a depth.",
            field="depth_mm",
            remedy=f"Give millimetres from 0 to {GREATEST_DEPTH_MM:g}.",
        )
    return required_words(
        differs.reason, "reason", 300, "Say why it differs.", "One sentence is enough."
    )


def _area_of(visit: Visit, name: str) -> LoftArea | None:
    if not name:
        return None
    survey = current_survey(visit.job)
    areas = {area.name: area for area in survey.areas.all()} if survey else {}
    if name not in areas:
        raise Refused(
            f"This loft has no area “{name}”.",
            field="area",
            remedy=f"Name one of: {', '.join(areas)}." if areas else "Leave it empty.",
        )
    return areas[name]


def _replaced(visit: Visit, pk: int | None) -> Variation | None:
    if pk is None:
        return None
    earlier: Variation | None = (
        Variation.objects.current().filter(visit__job_id=visit.job_id, pk=pk).first()
    )
    if earlier is None:
        raise Refused(
            "The variation to correct is not one of this job, or was corrected before.",
            field="replaces",
            remedy="Give the id of one that stands.",
        )
    return earlier
