"""Moving through a sample, and naming the things a finding can be about."""

from __future__ import annotations

from dataclasses import dataclass

from compliance.models import DrawnJob
from jobs.models import DepthReading, Handover, Job, Photo, PreStartCheck


@dataclass(frozen=True, slots=True)
class Neighbours:
    """The drawn jobs before and after this one, and the next that nobody has read."""

    before: DrawnJob | None
    after: DrawnJob | None
    next_unread: DrawnJob | None


def neighbours_of(drawn: DrawnJob) -> Neighbours:
    others = DrawnJob.objects.filter(round_id=drawn.round_id).exclude(pk=drawn.pk)
    return Neighbours(
        before=others.filter(draw_order__lt=drawn.draw_order).order_by("-draw_order").first(),
        after=others.filter(draw_order__gt=drawn.draw_order).order_by("draw_order").first(),
        next_unread=others.filter(findings__isnull=True).order_by("draw_order").first(),
    )


def things_of(job: Job) -> list[tuple[str, str]]:
    """(key, words) of every piece of evidence of a job."""
    things = [
        (
            f"photo:{photo.pk}",
            f"Photo {photo.point_label or photo.pk}, {photo.get_moment_display()}",
        )
        for photo in Photo.objects.filter(job=job)
    ]
    things += [
        (f"reading:{reading.pk}", f"Reading {reading.depth_mm:g} mm in {reading.area.name}")
        for reading in DepthReading.objects.filter(visit__job=job).select_related("area")
    ]
    for model, word in ((PreStartCheck, "check"), (Handover, "handover")):
        things += [
            (f"{word}:{row.pk}", f"{model._meta.verbose_name} of {when:%-d %b %Y}".capitalize())
            for row in model.objects.filter(visit__job=job)
            for when in [row.received_at]
        ]
    return things
