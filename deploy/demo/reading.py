"""What an auditor of the demo wrote and measured: drafts, depths measured again, an exchange.

All of it is invented.
"""

from __future__ import annotations

import io
import random

from django.utils import timezone
from PIL import Image

from compliance.audits.answer_photos import inspect_answer_file
from compliance.audits.answers import answer_finding, reply_to_answer, waiting_for_company
from compliance.audits.findings import draft_finding
from compliance.audits.remeasuring import Again, readings_to_measure, remeasure
from compliance.evidence_access import note_access
from compliance.models import AuditRound, DrawnJob, Finding
from deploy.demo.people import Cast
from deploy.demo.pictures import Snapshot, draw_loft_photo

MEASURED_EVERY = 4
"""So that crews of each drawn round are compared."""
PLACES_A_JOB = 4
BIAS_MM, SPREAD_MM = -4.0, 7.0


def make_reading(cast: Cast, chance: random.Random) -> None:
    """On the drawn rounds of the first scheme, by the same functions as any auditor's."""
    drawn = list(
        DrawnJob.objects.filter(round__state=AuditRound.State.DRAWN, round__scheme=cast.schemes[0])
        .select_related("round", "job")
        .order_by("round_id", "draw_order")
    )
    for job in drawn[::MEASURED_EVERY]:
        _measure(cast, job, chance)
    unread = [job for job in drawn if not job.findings.exists()]
    for job in unread[:1]:
        _draft(cast, job)
    _exchange(cast)


def _measure(cast: Cast, drawn: DrawnJob, chance: random.Random) -> None:
    note_access(drawn.job, cast.people["auditor"], "measuring again")
    rows = [
        Again(reading.pk, max(0.0, round(reading.depth_mm + chance.gauss(BIAS_MM, SPREAD_MM))))
        for reading in readings_to_measure(drawn)[:PLACES_A_JOB]
    ]
    remeasure(drawn, cast.people["auditor"], rows)


def _draft(cast: Cast, drawn: DrawnJob) -> None:
    photo = drawn.job.photos.filter(moment="after").first()
    draft_finding(
        drawn,
        cast.people["auditor"],
        severity="observation",
        text="The edge of the hatch is not to be seen. Ask for another photo?",
        concerns=f"photo:{photo.pk}" if photo else "",
    )


def _picture(nth: int) -> io.BytesIO:
    """The first sent through another app, which took its EXIF away; the second from a phone."""
    seen = Snapshot(9_000 + nth, depth_mm=280, moment="after", taken_at=timezone.now())
    jpeg = io.BytesIO(draw_loft_photo(seen))
    if nth:
        return jpeg
    bare = io.BytesIO()
    with Image.open(jpeg) as picture:
        picture.save(bare, "JPEG", quality=78)
    bare.seek(0)
    return bare


def _exchange(cast: Cast) -> None:
    """One finding answered with evidence and asked again, the next one waits for the auditor; what
    may be dangerous is left for the company to answer within its few days."""
    rows = waiting_for_company(
        Finding.objects.filter(
            drawn_job__round__scheme=cast.schemes[0], drawn_job__job__company=cast.company
        )
    )
    officer, auditor = cast.people["compliance"], cast.people["auditor"]
    rows = rows.exclude(severity=Finding.Severity.CRITICAL).select_related("drawn_job__job")
    for nth, finding in enumerate(rows.order_by("pk")[:2]):
        photo = finding.drawn_job.job.photos.filter(moment="after").last()
        links = [f"photo:{photo.pk}"] if photo else []
        said = "Looked at again on site; see the photo (invented)."
        answer = answer_finding(finding, officer, said, links=links, files=[_picture(nth)])
        for row in answer.evidence.exclude(sha256=""):  # type: ignore[attr-defined]
            inspect_answer_file(row)
        if nth == 0:
            text = "The photo shows another bay. Please show the one by the chimney."
            reply_to_answer(finding, auditor, accepted=False, text=text)
