"""The things of a job that a finding can be about, by key: `photo:12`, `pair:P1`, `time:photo:12`.

A key is a kind and what names one thing of that kind; an empty key is the job as a whole.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from compliance.models import Assessment, Certificate
from jobs.errors import Refused
from jobs.models import Arrival, DepthReading, Handover, Job, Leave, Photo, PreStartCheck

WHOLE_JOB = "The job as a whole"
LONGEST_NUMBER = 18
SEVERAL = {"check": PreStartCheck, "handover": Handover, "arrival": Arrival, "leave": Leave}


def words_of(job: Job, key: str) -> str | None:
    """What a person calls the thing of this job with that key; None when there is none."""
    if not key:
        return WHOLE_JOB
    kind, _, name = key.partition(":")
    teller = TELLERS.get(kind)
    return teller(job, name) if teller is not None else None


def require_thing(job: Job, key: str, field: str = "concerns") -> str:
    """The key in its one spelling. Raises Refused when the job has no such thing."""
    key = key.strip()
    if words_of(job, key) is None:
        raise Refused(
            f"{job.reference} has nothing called {key[:60]!r}.",
            field=field,
            remedy="Choose one of the things on the page, or none for the job as a whole.",
        )
    return key


def _one(rows: Any, name: str) -> Any:
    if not (name.isdecimal() and name.isascii() and len(name) < LONGEST_NUMBER):
        return None
    return rows.filter(pk=int(name)).first()


def _verdict(job: Job, name: str) -> str | None:
    row = _one(Assessment.objects.filter(job=job), name)
    return f"Verdict {row.number}: {row.get_verdict_display().lower()}" if row else None


def _certificate(job: Job, name: str) -> str | None:
    row = _one(Certificate.objects.filter(job=job), name)
    return f"Certificate {row.code}" if row else None


def _reading(job: Job, name: str) -> str | None:
    row = _one(DepthReading.objects.filter(visit__job=job).select_related("area"), name)
    return f"Reading of {row.depth_mm:g} mm in {row.area.name}" if row else None


def _photo(job: Job, name: str) -> str | None:
    row = _one(Photo.objects.filter(job=job), name)
    if row is None:
        return None
    place = f"at {row.point_label}" if row.point_label else "at no point"
    return f"{row.get_moment_display()} photo {place}"


def _pair(job: Job, name: str) -> str | None:
    there = Photo.objects.filter(job=job, point_label=name).exists()
    if not there:
        return None
    return f"Before and after at {name}" if name else "Photos at no point"


def _several(kind: str) -> Callable[[Job, str], str | None]:
    def tell(job: Job, name: str) -> str | None:
        model: Any = SEVERAL[kind]
        row = _one(model.objects.filter(visit__job=job), name)
        said = str(model._meta.verbose_name).capitalize()
        return f"{said} of {row.received_at:%-d %b %Y}" if row else None

    return tell


def _time(job: Job, key: str) -> str | None:
    kind = key.partition(":")[0]
    said = words_of(job, key) if kind in ("photo", "reading", *SEVERAL) else None
    return f"Time of: {said[:1].lower()}{said[1:]}" if said else None


TELLERS: dict[str, Callable[[Job, str], str | None]] = {
    "verdict": _verdict,
    "certificate": _certificate,
    "reading": _reading,
    "photo": _photo,
    "pair": _pair,
    "time": _time,
    **{kind: _several(kind) for kind in SEVERAL},
}
