"""A finding after its release: the company answers, the auditor accepts or asks again.

Each step is a row that the database refuses to change, and an entry of the ledger.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, BinaryIO

from django.db.models import Exists, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce
from django.dispatch import Signal
from django.utils import timezone

from compliance.audits import pdf_documents
from compliance.audits.things import require_thing
from compliance.models import AnswerEvidence, Finding, FindingAnswer, FindingReply
from jobs.errors import Conflict, Refused, refusals_explained
from jobs.evidence.content_store import ByteSource, Kept, keep
from jobs.evidence.decoding.probing import SMALLER, require_decodable
from jobs.evidence.media_types import HEAD_BYTES, NotAPhoto, require_whole, sniff
from jobs.models import User

DAYS_TO_ANSWER = 14
DAYS_FOR_CRITICAL = 3
"""Of what may be dangerous now; both are ours, without a published source."""
SOON_DAYS = 3
"""An answer due within so many days is urgent [common practice, no published source]."""
FOLDER = "answers"
FILE_LIMIT_BYTES = 60_000_000
MOST_FILES = 12
TAKEN = (
    "Photos (JPEG, PNG, HEIC, WebP) and whole PDF documents are taken. Nothing was sent yet: "
    "choose the files again."
)
AS_SAVED = "Choose the file as the camera saved it."
AT_OFFICE = {SMALLER: "Save a smaller copy of it."}
"""What a photo's refusal tells who holds the camera, and what an office can do instead."""

answered = Signal()
"""Sent inside the transaction, with `evidence`: what came with an answer."""


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a finding stands. state: open, answered, returned or closed; due_on: by when the
    company has to answer, None while nothing is asked of it; late, soon: that the day has passed,
    or is near; days_left: negative once it has passed."""

    state: str
    due_on: date | None
    late: bool
    soon: bool = False
    days_left: int | None = None

    @property
    def when(self) -> str:
        """Such as "in 3 days"; nothing while no answer is due."""
        return days_in_words(self.days_left) if self.days_left is not None else ""

    @property
    def words(self) -> str:
        return {
            "open": "to be answered",
            "answered": "answered, not accepted yet",
            "returned": "not accepted, to be answered again",
            "closed": "closed",
        }[self.state]


def answer_due_on(severity: str, today: date) -> date:
    """By when the company has to answer a finding that is released, or returned, today."""
    critical = severity == Finding.Severity.CRITICAL
    return today + timedelta(days=DAYS_FOR_CRITICAL if critical else DAYS_TO_ANSWER)


def days_in_words(left: int) -> str:
    """Such as "3 days late", "today", "tomorrow" or "in 5 days"."""
    if left < 0:
        return f"{-left} day{'' if left == -1 else 's'} late"
    return {0: "today", 1: "tomorrow"}.get(left, f"in {left} days")


def answer_finding(
    finding: Finding,
    by: User,
    text: str,
    *,
    files: Sequence[ByteSource] = (),
    links: Iterable[str] = (),
) -> FindingAnswer:
    """The company's answer to a finding on one of its jobs, with what proves it.

    files: photos or PDF documents, kept under their SHA-256 before the answer is told. links:
    keys of evidence that is stored already, such as "photo:12" (`compliance.audits.things`).

    Raises:
        Refused: nothing was said, too many files, or one that is neither photo nor PDF.
        Conflict: the finding is closed.
    """
    if not text.strip():
        raise Refused("Say what was done about it, or why it stands.", field="text")
    if len(files) > MOST_FILES:
        raise Refused(
            f"{len(files)} files are too many for one answer.",
            field="files",
            remedy=f"Send {MOST_FILES} at most, the rest with another answer.",
        )
    job = finding.drawn_job.job
    named = [require_thing(job, key, "links") for key in dict.fromkeys(links) if key]
    kept = {each.sha256: (each, media_type) for each, media_type in map(_keep_file, files)}
    with refusals_explained():
        _lock(finding)
        answer = FindingAnswer.objects.create(finding=finding, answered_by=by, text=text.strip())
        rows = [AnswerEvidence(concerns=key) for key in named]
        rows += [
            AnswerEvidence(
                sha256=each.sha256,
                size_bytes=each.size_bytes,
                media_type=media_type,
                stored_name=each.name,
            )
            for each, media_type in kept.values()
        ]
        for row in rows:
            row.finding, row.answer, row.added_by = finding, answer, by
        answered.send(FindingAnswer, evidence=AnswerEvidence.objects.bulk_create(rows))
    return answer


def reply_to_answer(
    finding: Finding, by: User, *, accepted: bool, text: str = "", today: date | None = None
) -> FindingReply:
    """The auditor's word on the newest answer; accepting it closes the finding.

    An answer that is not accepted is to be given again within the same days as the first.

    Raises:
        Refused: no reason why it is not accepted.
        Conflict: no answer waits, or the finding is closed.
    """
    if not accepted and not text.strip():
        raise Refused("Say why the answer is not accepted.", field="text")
    today = today or timezone.localdate()
    with refusals_explained():
        _lock(finding)
        answer = finding.answers.order_by("-pk").first()
        if answer is None or hasattr(answer, "reply"):
            raise Conflict(
                "No answer waits for your word.",
                field="finding",
                remedy="Wait until the company has answered.",
            )
        return FindingReply.objects.create(
            finding=finding,
            answer=answer,
            accepted=accepted,
            text=text.strip(),
            answer_due_on=None if accepted else answer_due_on(finding.severity, today),
            replied_by=by,
        )


def with_standing(findings: QuerySet[Any]) -> QuerySet[Any]:
    """Findings with `is_closed`, `is_answered` (a word of the auditor is due), `was_returned`
    and `due_on`."""
    answers = FindingAnswer.objects.filter(finding=OuterRef("pk"))
    replies = FindingReply.objects.filter(finding=OuterRef("pk"))
    returned = replies.filter(accepted=False).order_by("-pk")
    return findings.annotate(
        is_closed=Exists(replies.filter(accepted=True)),
        is_answered=Exists(answers.filter(reply__isnull=True)),
        was_returned=Exists(returned),
        due_on=Coalesce(Subquery(returned.values("answer_due_on")[:1]), "answer_due_on"),
    )


def waiting_for_company(findings: QuerySet[Any]) -> QuerySet[Any]:
    """Findings that the company has to answer, or to answer again."""
    return with_standing(findings.defects()).filter(is_closed=False, is_answered=False)  # type: ignore[attr-defined]


def waiting_for_auditor(findings: QuerySet[Any]) -> QuerySet[Any]:
    """Findings with an answer that the auditor has not accepted or returned yet."""
    return with_standing(findings.defects()).filter(is_closed=False, is_answered=True)  # type: ignore[attr-defined]


def standing_of(finding: Any, today: date | None = None) -> Standing:
    """Where a finding of `with_standing` stands."""
    today = today or timezone.localdate()
    if finding.is_closed:
        return Standing("closed", None, False)
    if finding.is_answered:
        return Standing("answered", None, False)
    state = "returned" if finding.was_returned else "open"
    if finding.due_on is None:
        return Standing(state, None, False)
    left = (finding.due_on - today).days
    return Standing(state, finding.due_on, left < 0, 0 <= left <= SOON_DAYS, left)


def _lock(finding: Finding) -> None:
    """One exchange at a time. Raises Conflict when the finding is closed."""
    Finding.objects.select_for_update().get(pk=finding.pk)
    if FindingReply.objects.filter(finding=finding, accepted=True).exists():
        raise Conflict(
            "This finding is closed: the auditor has accepted an answer.", field="finding"
        )


def _keep_file(source: ByteSource) -> tuple[Kept, str]:
    """A photo as the crew's are taken in, or a plain PDF. Raises Refused for anything else."""
    media_types: list[str] = []

    def look(file: BinaryIO, size_bytes: int) -> None:
        head = file.read(HEAD_BYTES)
        if head.startswith(pdf_documents.BEGINS):
            pdf_documents.require_plain(file, size_bytes)
            media_types.append(pdf_documents.MEDIA_TYPE)
            return
        media_types.append(_photo_type(head, file, size_bytes))

    try:
        kept = keep(source, FOLDER, limit_bytes=FILE_LIMIT_BYTES, check=look)
    except Refused as refusal:
        name = getattr(source, "name", "") or "A file"
        raise Refused(
            f"{name}: {refusal.message[:1].lower()}{refusal.message[1:]}",
            field="files",
            remedy=f"{refusal.remedy} {TAKEN}".strip(),
        ) from refusal
    return kept, media_types[0]


def _photo_type(head: bytes, file: BinaryIO, size_bytes: int) -> str:
    """What the checks of photos say, with the remedies of an office, where no camera is at hand."""
    try:
        media_type = sniff(head)
        require_whole(file, media_type, size_bytes)
        require_decodable(file, media_type)
    except NotAPhoto as refusal:
        raise Refused(refusal.message) from refusal
    except Refused as refusal:
        raise Refused(refusal.message, remedy=AT_OFFICE.get(refusal.remedy, AS_SAVED)) from refusal
    return media_type
