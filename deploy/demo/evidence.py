"""Evidence of the demo's visits: checks, photos, readings and handovers, made in bulk."""

from __future__ import annotations

import io
import random
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from deploy.demo.courses import Fate
from deploy.demo.people import Cast
from deploy.demo.stock import Entry
from deploy.demo.workshop import PhotoOrder, invent_depths
from jobs.evidence.cautions import CAUTIONS
from jobs.evidence.content_store import keep
from jobs.evidence.photos import FOLDER, PHOTO_LIMIT_BYTES
from jobs.evidence.questions import QUESTIONS
from jobs.models import DepthReading, Handover, Photo, PreStartCheck, Visit

SIGNATURES = (
    "M60 240 C180 30 270 420 360 210 S540 120 660 270 L900 180",
    "M72 180 L168 312 L240 108 C360 360 420 120 570 252 S780 300 900 150",
    "M48 264 C150 60 180 360 288 228 C396 96 420 396 552 240 L840 264",
)


PHONES_OFF = {"Crew Heron": timedelta(minutes=7), "Crew Linnet": -timedelta(minutes=3)}


@dataclass(frozen=True, slots=True)
class VisitPapers:
    """One visit whose papers are to be invented, and how it went."""

    entry: Entry
    visit: Visit
    short: bool
    reading_share: float = 1.0
    before_photos: int = 2
    after_photos: int = 2
    handed_over: bool = True

    @property
    def starts(self) -> datetime:
        return self.visit.during.lower

    @property
    def ends(self) -> datetime:
        return self.visit.during.upper

    @property
    def ahead(self) -> timedelta:
        """How far the clock of the crew's phone is off: one is fast, one slow."""
        return PHONES_OFF.get(self.entry.crew, timedelta(0))

    def clock(self, received_at: datetime) -> dict[str, Any]:
        """The columns of a record that came from the crew's phone."""
        return {
            "received_at": received_at,
            "phone_sent_at": received_at + self.ahead,
            "phone_ahead": self.ahead,
        }


def papers_of_fitting(entry: Entry) -> VisitPapers | None:
    """The papers of an entry's fitting visit, as far as it has got."""
    if entry.fitting is None or entry.fitting.status not in ("done", "on_site"):
        return None
    fate = entry.course.fate
    if entry.fitting.status == "on_site":
        return VisitPapers(
            entry, entry.fitting, short=False, reading_share=0, after_photos=0, handed_over=False
        )
    return VisitPapers(
        entry,
        entry.fitting,
        short=fate in (Fate.SHORT, Fate.PUT_RIGHT),
        reading_share=0.3 if fate is Fate.FEW_READINGS else 1.0,
        after_photos=0 if fate is Fate.NO_AFTER_PHOTOS else 2,
        handed_over=fate is not Fate.NO_HANDOVER_YET,
    )


def papers_of_call_back(entry: Entry) -> VisitPapers | None:
    if entry.call_back is None or entry.call_back.status != "done":
        return None
    return VisitPapers(entry, entry.call_back, short=False, before_photos=0, after_photos=1)


def photo_orders(papers: VisitPapers, target_mm: float) -> list[PhotoOrder]:
    """What to draw for a visit, at the photo points of its loft."""
    entry, home = papers.entry, papers.entry.home
    area = entry.loft["areas"][0]
    labels = (entry.worked.photo_labels or ("P1",)) if entry.worked else ("P1",)
    moments = ["before"] * papers.before_photos + ["after"] * papers.after_photos
    orders, seen = [], {"before": 0, "after": 0}
    # A few phones know no place, a few a wrong one: the intake has something to warn of.
    drift_deg = 0.25 if entry.number % 31 == 0 else 0.0
    for moment in moments:
        nth = seen[moment]
        seen[moment] += 1
        minutes = 12 + 3 * nth if moment == "before" else -(14 - 3 * nth)
        base = papers.starts if moment == "before" else papers.ends
        laid = target_mm + 8 if not papers.short or nth else target_mm - 80
        orders.append(
            PhotoOrder(
                seed=entry.number * 10 + (5 if papers.visit.kind == "call_back" else 0),
                moment=moment,
                point_label=labels[nth % len(labels)],
                depth_mm=area["existing_depth_mm"] if moment == "before" else laid,
                joist_spacing_mm=area["joist_spacing_mm"],
                taken_at=base + timedelta(minutes=minutes) + papers.ahead,
                latitude_deg=None if entry.number % 23 == 0 else home.latitude_deg + drift_deg,
                longitude_deg=None if entry.number % 23 == 0 else home.longitude_deg,
            )
        )
    return orders


def make_checks(cast: Cast, papers: Iterable[VisitPapers]) -> None:
    answers = {q.code: "no" if q.unsafe == "yes" else "yes" for q in QUESTIONS}
    PreStartCheck.objects.bulk_create(
        PreStartCheck(
            visit=paper.visit,
            answers=answers,
            safe_to_start=True,
            checked_by=cast.lead_of(paper.entry.crew),
            checked_at=paper.starts + timedelta(minutes=8) + paper.ahead,
            **paper.clock(paper.starts + timedelta(minutes=9)),
        )
        for paper in papers
    )


def make_readings(
    cast: Cast, papers: Iterable[VisitPapers], target_of: dict[str, float], chance: random.Random
) -> None:
    DepthReading.objects.bulk_create(
        reading for paper in papers for reading in _readings(cast, paper, target_of, chance)
    )


def _readings(
    cast: Cast, paper: VisitPapers, target_of: dict[str, float], chance: random.Random
) -> Iterator[DepthReading]:
    entry = paper.entry
    if entry.worked is None or entry.areas is None or not paper.reading_share:
        return
    points = entry.worked.points
    points = points[: max(1, int(len(points) * paper.reading_share))]
    target = target_of[entry.home.nation]
    depths = invent_depths(points, target, short=paper.short, chance=chance)
    for nth, ((area, x_mm, y_mm, allowance), depth) in enumerate(zip(points, depths, strict=True)):
        when = paper.ends - timedelta(minutes=20) + timedelta(seconds=35 * nth)
        yield DepthReading(
            visit=paper.visit,
            area=entry.areas[area],
            x_mm=x_mm,
            y_mm=y_mm,
            depth_mm=depth,
            allowance=allowance,
            measured_by=cast.lead_of(entry.crew),
            measured_at=when + paper.ahead,
            **paper.clock(when + timedelta(seconds=20)),
        )


def make_handovers(cast: Cast, papers: Iterable[VisitPapers], chance: random.Random) -> None:
    Handover.objects.bulk_create(
        Handover(
            visit=paper.visit,
            signed_name=paper.entry.home.householder_name,
            signature_svg=chance.choice(SIGNATURES),
            cautions_given=[caution.code for caution in CAUTIONS if caution.always],
            taken_by=cast.lead_of(paper.entry.crew),
            signed_at=paper.ends - timedelta(minutes=3) + paper.ahead,
            **paper.clock(paper.ends - timedelta(minutes=2)),
        )
        for paper in papers
        if paper.handed_over
    )


def make_photos(
    cast: Cast, ordered: Iterable[tuple[VisitPapers, PhotoOrder]], drawn: Iterable[bytes]
) -> list[int]:
    """Keep the drawn pictures as a phone's upload would be kept; gives the photos' ids."""
    rows = []
    for (paper, order), jpeg in zip(ordered, drawn, strict=True):
        kept = keep(io.BytesIO(jpeg), FOLDER, limit_bytes=PHOTO_LIMIT_BYTES)
        rows.append(
            Photo(
                job=paper.entry.job,
                visit=paper.visit,
                moment=order.moment,
                point_label=order.point_label,
                sha256=kept.sha256,
                size_bytes=kept.size_bytes,
                media_type="image/jpeg",
                original_name=kept.name,
                phone_taken_at=order.taken_at,
                sent_by=cast.lead_of(paper.entry.crew),
                **paper.clock(order.taken_at - paper.ahead + timedelta(minutes=1)),
            )
        )
    return [photo.pk for photo in Photo.objects.bulk_create(rows)]
