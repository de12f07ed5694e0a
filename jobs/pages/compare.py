"""Before and after side by side, point by point, with the point on the drawing.

The page stands without JavaScript: points and neighbours are links. `compare.js` adds zoom, the
slider and the keyboard to the same markup. The partial `jobs/story/compare.html` can be shown by
whoever may see the job.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse

from calculations.drawing import PhotoPoint, draw_evidence, photo_points
from calculations.loft import Loft
from jobs.evidence.openings import opened
from jobs.evidence.photo_facts import PhotoFacts, photo_facts
from jobs.lofts import loft_of
from jobs.models import Job, Photo, Role, User
from jobs.pages.access import page_for
from jobs.pages.desk_parts import STORY_READERS
from jobs.pages.on_site_parts import ShownPhoto
from jobs.surveying.quantities import current_survey


@dataclass(frozen=True, slots=True)
class Shot:
    """One photo of a pair. word: before or after; shown and facts are None without a photo."""

    word: str
    shown: ShownPhoto | None
    facts: PhotoFacts | None


@dataclass(frozen=True)
class ComparedPoint:
    """A photo point with what was taken there. label is empty for photos at no point."""

    label: str
    why: str
    before: Shot
    after: Shot
    further: tuple[ShownPhoto, ...]

    @property
    def name(self) -> str:
        return self.label or "No point"

    @property
    def shots(self) -> tuple[Shot, Shot]:
        return (self.before, self.after)


@dataclass(frozen=True)
class Comparison:
    """All points of a job that have photos, and the one looked at."""

    job: Job
    points: tuple[ComparedPoint, ...]
    index: int
    loft: Loft | None
    places: tuple[PhotoPoint, ...]

    @property
    def point(self) -> ComparedPoint:
        return self.points[self.index]

    @property
    def number(self) -> int:
        return self.index + 1

    @property
    def previous(self) -> ComparedPoint | None:
        return self.points[self.index - 1] if self.index else None

    @property
    def next(self) -> ComparedPoint | None:
        return self.points[self.index + 1] if self.number < len(self.points) else None

    @cached_property
    def svg(self) -> str:
        if self.loft is None or not self.places:
            return ""
        return draw_evidence(self.loft, (), self.places, highlight=self.point.label)


def comparison_of(job: Job, label: str | None = None) -> Comparison | None:
    """The comparison at a point ("" is none of them), or at the first; None without a photo."""
    photos = Photo.objects.current().filter(job=job).prefetch_related("inspections")
    shown = [ShownPhoto.of(photo) for photo in photos]
    survey = current_survey(job)
    loft = loft_of(survey) if survey else None
    places = photo_points(loft) if loft else ()
    points = tuple(_points(job, shown, places))
    if not points:
        return None
    labels = [point.label for point in points]
    index = labels.index(label) if label is not None and label in labels else 0
    return Comparison(job, points, index, loft, tuple(places))


def _points(
    job: Job, shown: Sequence[ShownPhoto], places: Iterable[PhotoPoint]
) -> Iterable[ComparedPoint]:
    """In the order of the drawing; then labels it does not know, then photos at no point."""
    why = {place.label: place.why for place in places}
    told = sorted({photo.photo.point_label for photo in shown}, key=lambda label: not label)
    for label in dict.fromkeys([*why, *told]):
        here = [photo for photo in shown if photo.photo.point_label == label]
        if here:
            yield _point(job, label, why.get(label, ""), here)


def _point(job: Job, label: str, why: str, here: Sequence[ShownPhoto]) -> ComparedPoint:
    before, after = _latest(here, Photo.Moment.BEFORE), _latest(here, Photo.Moment.AFTER)
    return ComparedPoint(
        label,
        why,
        _shot(job, "Before", before),
        _shot(job, "After", after),
        tuple(photo for photo in here if photo not in (before, after)),
    )


def _latest(here: Sequence[ShownPhoto], moment: str) -> ShownPhoto | None:
    return next((photo for photo in reversed(here) if photo.photo.moment == moment), None)


def _shot(job: Job, word: str, shown: ShownPhoto | None) -> Shot:
    facts = photo_facts(shown.photo, shown.inspection, job.property) if shown else None
    return Shot(word, shown, facts)


def photos_alike(compared: Comparison | None, reader: User) -> list[Photo]:
    """Photos elsewhere that those looked at resemble, as far as the reader may see them."""
    if compared is None:
        return []
    shown = [shot.shown for shot in compared.point.shots if shot.shown]
    wanted = {key for one in shown for key in one.resembled}
    if not wanted:
        return []
    found = Photo.objects.visible_to(reader).filter(pk__in=wanted).select_related("job")
    here = (compared.job.pk, compared.point.label)
    return [photo for photo in found.order_by("pk") if (photo.job_id, photo.point_label) != here]


@page_for(*STORY_READERS, Role.INSTALLER)
def compare(request: HttpRequest, pk: int) -> HttpResponse:
    """Before and after at one photo point (`?point=P2`), the first if none is named."""
    job = get_object_or_404(Job.objects.visible_to(request.user).with_place(), pk=pk)
    opened([job.pk], request.user, "before and after")  # type: ignore[arg-type]
    back = [] if request.user.role == Role.INSTALLER else [_back(job)]  # type: ignore[union-attr]
    compared = comparison_of(job, request.GET.get("point"))
    context = {
        "job": job,
        "compare": compared,
        "alike": photos_alike(compared, request.user),  # type: ignore[arg-type]
        "page_title": "Before and after",
        "page_kicker": f"{job.reference} · {job.property}",
        "page_actions": back,
    }
    return render(request, "jobs/job/compare.html", context)


def _back(job: Job) -> dict[str, str]:
    return {"url": f"{reverse('job', args=[job.pk])}#photos", "label": "The job"}


urlpatterns = [path("jobs/<int:pk>/compare/", compare, name="job_compare")]
