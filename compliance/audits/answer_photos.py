"""Pictures that come with answers to findings, looked at as the crew's photos are.

The company shows with them that something was put right, so besides what speaks against any
photo it is told that a picture was taken before the finding, or shows what is stored already.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Exists, OuterRef
from django.utils import timezone

from compliance.models import AnswerEvidence, AnswerInspection
from jobs.evidence.content_store import keep, open_kept
from jobs.evidence.decoding.client import CannotOpen, Seen, see
from jobs.evidence.doubts import Doubt, doubts_about_looks, doubts_about_what_is_told, how_long
from jobs.evidence.inspection import (
    COPIES_FOLDER,
    COPY_LIMIT_BYTES,
    DAMAGED,
    INSPECTOR_VERSION,
    WAITING_TOO_LONG,
    WHY_UNREADABLE,
)
from jobs.evidence.likeness import SAME_JOB_BITS, first_alike, nearest, stored_alike
from jobs.evidence.looks import Look
from jobs.models import Photo

CLOCKS_DIFFER = timedelta(hours=1)
"""A camera's clock may be so wrong and nobody wonders [common practice, no published source]."""
MOST_AT_ONCE = 200
MOST_ANSWERS_COMPARED = 4000


def pictures() -> Any:
    """Evidence of answers that is a picture and came as a file."""
    return AnswerEvidence.objects.exclude(sha256="").filter(media_type__startswith="image/")


def is_picture(evidence: AnswerEvidence) -> bool:
    return bool(evidence.sha256) and evidence.media_type.startswith("image/")


def inspect_answer_picture(evidence: AnswerEvidence) -> AnswerInspection:
    """Inspect a picture once by this version of the inspector; again gives the same row back."""
    done: AnswerInspection | None = evidence.inspections.filter(  # type: ignore[attr-defined]
        inspector_version=INSPECTOR_VERSION
    ).first()
    if done is not None:
        return done
    try:
        with open_kept(evidence.stored_name) as file:
            found = _readable(evidence, see(file, evidence.media_type))
    except CannotOpen as error:
        doubt = Doubt("unreadable", WHY_UNREADABLE.get(error.trouble, DAMAGED))
        found = {"readable": False, "warnings": [doubt.to_dict()]}
    row, _ = AnswerInspection.objects.get_or_create(
        evidence=evidence, inspector_version=INSPECTOR_VERSION, defaults=found
    )
    return row


def waiting_picture_ids() -> list[int]:
    """Pictures that this version should have inspected a while ago, the oldest first."""
    looked_at = AnswerInspection.objects.filter(
        evidence=OuterRef("pk"), inspector_version=INSPECTOR_VERSION
    )
    waiting = pictures().filter(~Exists(looked_at), added_at__lt=timezone.now() - WAITING_TOO_LONG)
    return list(waiting.order_by("pk").values_list("pk", flat=True)[:MOST_AT_ONCE])


def _readable(evidence: AnswerEvidence, seen: Seen) -> dict[str, Any]:
    home = evidence.finding.drawn_job.job.property
    doubts = (
        *doubts_about_what_is_told(seen.exif, home),
        *_doubts_about_time(evidence, seen.exif.taken_at),
        *doubts_about_looks(seen.look, seen.width_px, seen.height_px),
        *_doubts_about_likeness(evidence, seen.look),
    )
    return {
        "readable": True,
        "width_px": seen.width_px,
        "height_px": seen.height_px,
        "exif_taken_at": seen.exif.taken_at,
        "exif_time_source": seen.exif.time_source,
        "device": seen.exif.device,
        "perceptual_hash": next(iter(seen.look.hashes), None) if _comparable(seen.look) else None,
        "warnings": [doubt.to_dict() for doubt in doubts],
        "display_name": _keep_copy(seen.display),
        "thumb_name": _keep_copy(seen.thumb),
    }


def _keep_copy(jpeg: bytes) -> str:
    return keep(io.BytesIO(jpeg), COPIES_FOLDER, limit_bytes=COPY_LIMIT_BYTES).name


def _comparable(look: Look) -> bool:
    return bool(look.can_be_compared)


def _doubts_about_time(evidence: AnswerEvidence, taken_at: datetime | None) -> Iterator[Doubt]:
    if taken_at is None:
        return
    found_at, said = evidence.finding.found_at, f"{timezone.localtime(taken_at):%-d %b %Y %H:%M}"
    if taken_at < found_at - CLOCKS_DIFFER:
        yield Doubt(
            "before_finding",
            f"The camera says {said}, {how_long(found_at - taken_at)} before the finding.",
        )
    elif taken_at > evidence.added_at + CLOCKS_DIFFER:
        yield Doubt("after_answer", f"The camera says {said}, which is after it was sent.")


def _doubts_about_likeness(evidence: AnswerEvidence, look: Look) -> Iterator[Doubt]:
    """The picture, or the very same file, is stored already: so it shows nothing new."""
    job = evidence.finding.drawn_job.job
    same = Photo.objects.filter(sha256=evidence.sha256).order_by("pk").first()
    if same is not None:
        where = "this job" if same.job_id == job.pk else "another job"
        yield Doubt("same_file", f"It is the very file of a photo of {where}.", same.pk)
    elif not _comparable(look):
        yield Doubt(
            "not_compared", "It is too blurred or too plain to be compared with other photos."
        )
        return
    else:
        own, elsewhere = stored_alike(look, job.pk)
        if own is not None:
            photo = own.photo
            words = (
                f"{photo.get_moment_display().lower()} photo at {photo.point_label or 'no point'}"
            )
            text = f"It looks the same as the {words}, which was stored before."
            yield Doubt("like_stored_photo", text, photo.pk)
        if elsewhere is not None:
            text = "It looks the same as a photo of another job."
            yield Doubt("like_other_job", text, elsewhere.photo_id)
    other = _other_answer_alike(evidence, look)
    if other is not None:
        told = other.evidence
        which = (
            "an earlier answer to this finding"
            if told.finding_id == evidence.finding_id
            else f"an answer to another finding, on {told.finding.drawn_job.job.reference}"
        )
        yield Doubt("like_other_answer", f"It looks the same as a picture of {which}.")


def _other_answer_alike(evidence: AnswerEvidence, look: Look) -> AnswerInspection | None:
    """Of the same company; pictures of one answer may look alike."""
    if not _comparable(look):
        return None
    rows = AnswerInspection.objects.filter(
        perceptual_hash__isnull=False,
        evidence__finding__drawn_job__job__company=evidence.finding.drawn_job.job.company_id,
        evidence__pk__lt=evidence.pk,
    ).exclude(evidence__answer=evidence.answer_id)
    rows = rows.select_related("evidence__finding__drawn_job__job").order_by("-pk")
    near = [(row, nearest(look, row.perceptual_hash)) for row in rows[:MOST_ANSWERS_COMPARED]]
    near = [(row, bits) for row, bits in near if bits <= SAME_JOB_BITS]
    found: AnswerInspection | None = first_alike(sorted(near, key=lambda c: c[1]), look.sample)
    return found
