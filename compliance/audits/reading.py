"""Moving through a sample, and how far its reading has come."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Q
from django.utils import timezone

from compliance.audits.findings import record_finding, require_drawn
from compliance.models import DrawnJob, Finding, FindingDraft, JobRead, PointsSeen
from jobs.errors import Refused, refusals_explained
from jobs.models import Photo, User


@dataclass(frozen=True, slots=True)
class Neighbours:
    """Ids of the drawn jobs before and after this one, and of the next that nobody has read.

    number: which of `total` this is, in the order drawn. read: how many are read.
    """

    before: int | None
    after: int | None
    next_unread: int | None
    number: int
    total: int
    read: int

    @property
    def onward(self) -> int | None:
        """The job to have at hand while this one is read."""
        return self.next_unread or self.after


def neighbours_of(drawn: DrawnJob) -> Neighbours:
    """Where a drawn job stands among those of its round. One query."""
    findings = Finding.objects.filter(drawn_job=OuterRef("pk"))
    marks = JobRead.objects.filter(drawn_job=OuterRef("pk"))
    rows = list(
        DrawnJob.objects.filter(round_id=drawn.round_id)
        .annotate(is_read=Exists(findings) | Exists(marks))
        .order_by("draw_order")
        .values_list("pk", "is_read")
    )
    ids = [pk for pk, _ in rows]
    at = ids.index(drawn.pk)
    unread = [pk for pk, is_read in rows[at + 1 :] + rows[:at] if not is_read]
    return Neighbours(
        before=ids[at - 1] if at else None,
        after=ids[at + 1] if at + 1 < len(ids) else None,
        next_unread=unread[0] if unread else None,
        number=at + 1,
        total=len(ids),
        read=sum(is_read for _, is_read in rows),
    )


def mark_read(drawn: DrawnJob, by: User) -> JobRead:
    """Say that a job was read to its end. Without a finding or draft it is thereby found sound.

    Raises:
        Conflict: the round is not drawn, or closed.
    """
    require_drawn(drawn)
    with refusals_explained():
        mark, is_new = JobRead.objects.get_or_create(drawn_job=drawn, defaults={"read_by": by})
        if is_new and not drawn.findings.exists() and not drawn.drafts.exists():
            record_finding(drawn, by, severity=Finding.Severity.SOUND)
    return mark


def seen_by(drawn: DrawnJob, person: User) -> frozenset[str]:
    """Labels of the photo points that this auditor has marked as seen."""
    row = PointsSeen.objects.filter(drawn_job=drawn, person=person).first()
    return frozenset(row.points) if row else frozenset()


def keep_seen(drawn: DrawnJob, person: User, labels: Iterable[str]) -> frozenset[str]:
    """Keep which photo points this auditor has seen, in the stead of what was kept before.

    Raises Refused for a point where the job has no photo.
    """
    wanted = frozenset(labels)
    known = set(Photo.objects.filter(job=drawn.job_id).values_list("point_label", flat=True))
    if strange := sorted(wanted - known):
        raise Refused(
            f"There is no photo at {strange[0][:20]!r} on this job.",
            field="points",
            remedy="Send the labels of photo points, such as P1.",
        )
    PointsSeen.objects.update_or_create(
        drawn_job=drawn,
        person=person,
        defaults={"points": sorted(wanted), "changed_at": timezone.now()},
    )
    return wanted


def unread_jobs_of(scheme_id: int) -> int:
    """Drawn jobs of open rounds that nobody has read."""
    return (
        DrawnJob.objects.filter(round__scheme_id=scheme_id, round__state="drawn")
        .filter(Q(findings__isnull=True), Q(reading_mark__isnull=True))
        .count()
    )


def drafts_of(scheme_id: int) -> int:
    """Drafts of open rounds that are still to be released."""
    return FindingDraft.objects.filter(
        drawn_job__round__scheme_id=scheme_id, drawn_job__round__state="drawn"
    ).count()
