"""Choosing what goes into a pack: one job, or those judged in a period."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Count, Exists, OuterRef, QuerySet, Sum

from compliance.models import Assessment, Certificate, EvidenceAccess, Seal
from compliance.packs.scope import PackScope, batched, scope_for
from jobs.errors import Refused
from jobs.models import Job, Photo, User

AUDITED = "evidence pack"


@dataclass(frozen=True, slots=True)
class PackWish:
    """What somebody asks for. job: words that find one; or the days its verdicts were made on.

    seal: id of a Seal that was kept and must be in the pack.
    """

    job: str = ""
    first_day: date | None = None
    last_day: date | None = None
    without_photos: bool = False
    seal: int | None = None


@dataclass(frozen=True, slots=True)
class PackFigures:
    """What a pack would hold. photo_bytes: of the originals together."""

    jobs: int
    photos: int
    photo_bytes: int
    certificates: int


def wished_scope(user: User, wish: PackWish) -> PackScope:
    """The scope of a wish, as far as this person may see.

    Raises:
        Refused: it names no job, several for one, no Seal, or is not understood.
    """
    if wish.seal is not None and not Seal.objects.filter(pk=wish.seal).exists():
        raise Refused(f"There is no Seal {wish.seal}.", field="seal", remedy="Leave it empty.")
    jobs, title = _jobs(user, wish)
    left_out = {"photos"} if wish.without_photos else set()
    seals = () if wish.seal is None else (wish.seal,)
    return scope_for(user, jobs, title, left_out=left_out, seals=seals)


def figures_of(scope: PackScope) -> PackFigures:
    photos = Photo.objects.filter(job__in=scope.jobs or ())
    found = photos.aggregate(number=Count("pk"), size=Sum("size_bytes"))
    return PackFigures(
        jobs=len(scope.jobs or ()),
        photos=0 if "photos" in scope.left_out else found["number"],
        photo_bytes=0 if "photos" in scope.left_out else found["size"] or 0,
        certificates=Certificate.objects.filter(job__in=scope.jobs or ()).count(),
    )


def note_taken_away(scope: PackScope, person: User) -> None:
    """Record, for every job of the pack, that this person took its evidence away."""
    for jobs in batched(scope.jobs or ()):
        EvidenceAccess.objects.bulk_create(
            EvidenceAccess(job_id=job, person=person, what=AUDITED) for job in jobs
        )


def _jobs(user: User, wish: PackWish) -> tuple[QuerySet[Job], str]:
    if wish.job:
        return _one_job(user, wish.job)
    if wish.first_day is None or wish.last_day is None:
        raise Refused(
            "Say which jobs: one job, or the first and last day of a period.",
            field="job",
            remedy="Give a job such as J-000123, or both days.",
        )
    if wish.last_day < wish.first_day:
        raise Refused(
            "The period ends before it begins.", field="last_day", remedy="Choose a later day."
        )
    judged = Assessment.objects.filter(
        job=OuterRef("pk"), made_at__date__range=(wish.first_day, wish.last_day)
    )
    days = f"{wish.first_day:%-d %b %Y} to {wish.last_day:%-d %b %Y}"
    return Job.objects.filter(Exists(judged)), f"{_whose(user)}: jobs judged from {days}"


def _one_job(user: User, words: str) -> tuple[QuerySet[Job], str]:
    found: Any = Job.objects.visible_to(user).search(words)
    jobs = list(found.order_by("pk")[:2])
    if len(jobs) != 1:
        raise Refused(
            f"{'Several jobs fit' if jobs else 'No job fits'} “{words}”.",
            field="job",
            remedy="Give its number, such as J-000123.",
        )
    return Job.objects.filter(pk=jobs[0].pk), f"{_whose(user)}: job {jobs[0].reference}"


def _whose(user: User) -> str:
    return str(user.scheme if user.company_id is None else user.company)
