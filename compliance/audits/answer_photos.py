"""Files that come with answers to findings, looked at as the crew's photos are.

Of a document its pages are counted. With pictures the company shows that something was put right,
so besides what speaks against any photo it is told that a picture was taken before the finding, or
shows what is stored already.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import IO, Any

from django.db.models import Exists, OuterRef, Q
from django.utils import timezone

from compliance.audits import pdf_documents
from compliance.models import AnswerEvidence, AnswerInspection
from jobs.errors import Refused
from jobs.evidence.content_store import open_kept
from jobs.evidence.decoding.client import CannotOpen, Seen, see
from jobs.evidence.doubts import Doubt, doubts_about_looks, doubts_about_what_is_told, how_long
from jobs.evidence.inspection import (
    DAMAGED,
    INSPECTOR_VERSION,
    WAITING_TOO_LONG,
    WHY_UNREADABLE,
    seen_facts,
)
from jobs.evidence.likeness import SAME_JOB_BITS, first_alike, nearest, stored_alike
from jobs.evidence.looks import Look
from jobs.models import Photo

CLOCKS_DIFFER = timedelta(hours=1)
"""A camera's clock may be so wrong and nobody wonders [common practice, no published source]."""
MOST_AT_ONCE = 200
MOST_ANSWERS_COMPARED = 4000


PAGES = "pages"
"""The code of what is told of a document beside doubts: how many pages it has."""


def is_looked_at(evidence: AnswerEvidence) -> bool:
    """Whether an inspection follows: of whatever came as a file, picture or PDF."""
    return is_picture(evidence) or evidence.media_type == pdf_documents.MEDIA_TYPE


def is_picture(evidence: AnswerEvidence) -> bool:
    return bool(evidence.sha256) and evidence.media_type.startswith("image/")


def inspect_answer_file(evidence: AnswerEvidence) -> AnswerInspection:
    """Inspect a file once by this version of the inspector; again gives the same row back."""
    done: AnswerInspection | None = evidence.inspections.filter(  # type: ignore[attr-defined]
        inspector_version=INSPECTOR_VERSION
    ).first()
    if done is not None:
        return done
    try:
        with open_kept(evidence.stored_name) as file:
            found = _found_in(evidence, file)
    except CannotOpen as error:
        found = _unreadable(WHY_UNREADABLE.get(error.trouble, DAMAGED))
    except Refused as refusal:
        found = _unreadable(refusal.message)
    row, _ = AnswerInspection.objects.get_or_create(
        evidence=evidence, inspector_version=INSPECTOR_VERSION, defaults=found
    )
    return row


def _found_in(evidence: AnswerEvidence, file: IO[bytes]) -> dict[str, Any]:
    if is_picture(evidence):
        return _readable(evidence, see(file, evidence.media_type))
    pages = pdf_documents.require_plain(file, evidence.size_bytes)
    said = Doubt(PAGES, f"{pages} page{'' if pages == 1 else 's'}")
    return {"readable": True, "warnings": [said.to_dict()]}


def _unreadable(why: str) -> dict[str, Any]:
    return {"readable": False, "warnings": [Doubt("unreadable", why).to_dict()]}


def waiting_file_ids() -> list[int]:
    """Files that this version should have inspected a while ago, the oldest first."""
    looked_at = AnswerInspection.objects.filter(
        evidence=OuterRef("pk"), inspector_version=INSPECTOR_VERSION
    )
    seen = Q(media_type__startswith="image/") | Q(media_type=pdf_documents.MEDIA_TYPE)
    files = AnswerEvidence.objects.exclude(sha256="").filter(seen)
    waiting = files.filter(~Exists(looked_at), added_at__lt=timezone.now() - WAITING_TOO_LONG)
    return list(waiting.order_by("pk").values_list("pk", flat=True)[:MOST_AT_ONCE])


def _readable(evidence: AnswerEvidence, seen: Seen) -> dict[str, Any]:
    home = evidence.finding.drawn_job.job.property
    doubts = (
        *doubts_about_what_is_told(seen.exif, home),
        *_doubts_about_time(evidence, seen.exif.taken_at),
        *doubts_about_looks(seen.look, seen.width_px, seen.height_px),
        *_doubts_about_likeness(evidence, seen.look),
    )
    comparable = _comparable(seen.look)
    return seen_facts(seen, doubts) | {
        "perceptual_hash": next(iter(seen.look.hashes), None) if comparable else None
    }


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
