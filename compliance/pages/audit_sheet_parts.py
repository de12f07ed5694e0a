"""The contact sheet of a drawn job: its pairs, the most suspicious first, and what the machine
has checked already, so that a person looks only at what needs eyes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.urls import reverse

from compliance.assess import rerun
from compliance.audits.suspicions import (
    DepthTold,
    PhotoTold,
    Reason,
    depth_at,
    reasons_against,
    weight_of,
)
from compliance.models import Assessment
from compliance.pages.verdict_parts import VerdictShown
from jobs.evidence.doubts import FAR_M
from jobs.evidence.photo_facts import STORED
from jobs.models import DepthReading
from jobs.models.jobs import reference_of
from jobs.pages.compare import ComparedPoint, Comparison, Shot
from jobs.pages.on_site_parts import ShownPhoto

DOUBTED = "Something speaks against these"
REST, NOTHING = "Further points", "Nothing speaks against these"
HERE_M = 0.3
LIKES_SHOWN = 2
"""So many photos that look the same stand beside a pair: the nearest of its job, and of others."""
TIME_CODES = ("before_visit", "after_visit")
LIKE_CODES = ("like_other_job", "like_other_moment")
POOR_CODES = ("blurred", "dark", "small", "unreadable")
SILENT_CODES = {
    "time": ("no_time", "no_exif"),
    "place": ("no_exif",),
    "likeness": ("not_compared",),
}
"""What tells at a pair that a photo says nothing of it."""


@dataclass(frozen=True, slots=True)
class LikePhoto:
    """Another photo that shows the same, to be looked at beside it. words: where it is from."""

    shown: ShownPhoto
    words: str

    @property
    def large_url(self) -> str:
        return small_url(self.shown, "large")


@dataclass(frozen=True, slots=True)
class SheetPair:
    """A photo point on the sheet. depth: the standing reading nearest to it; None without one.

    likes: photos that one of its own looks the same as, as far as the reader may see them.
    """

    point: ComparedPoint
    reasons: tuple[Reason, ...]
    depth: DepthTold | None
    likes: tuple[LikePhoto, ...] = ()

    @property
    def copy(self) -> str:
        """The address of the copy that the sheet shows: large where something is doubted."""
        return "audit_photo_large" if self.reasons else "audit_photo_small"

    @property
    def shows(self) -> tuple[str, str]:
        """What stands at the point, and what has to be seen of it, as the drawing says."""
        thing, _, wanted = self.point.why.partition(": ")
        return thing, wanted

    @property
    def gauge_url(self) -> str:
        """Where the gauge in the after photo is shown enlarged; empty without such a photo."""
        shown = self.point.after.shown
        return small_url(shown, "gauge") if shown is not None and shown.thumb_url else ""

    @property
    def depth_words(self) -> str:
        if self.depth is None:
            return "no reading within 3 m"
        away_m = self.depth.away_mm / 1000
        return "read here" if away_m < HERE_M else f"read at {away_m:.1f} m"


@dataclass(frozen=True, slots=True)
class SheetGroup:
    """Pairs under one heading. says_what: whether the heading says what is to be seen on them."""

    title: str
    pairs: tuple[SheetPair, ...]
    says_what: bool


@dataclass(frozen=True, slots=True)
class MachineCheck:
    """One thing the machine has looked at. is_fine: nothing in it is left for eyes.

    told_at_pairs: all that is not fine in it stands as a reason at the pair that it is of.
    """

    words: str
    said: str
    is_fine: bool
    told_at_pairs: bool = False


def small_url(shown: ShownPhoto, size: str) -> str:
    return reverse(f"audit_photo_{size}", args=[shown.photo.pk])


def sheet_of(
    comparison: Comparison | None,
    readings: Sequence[DepthReading],
    below: Sequence[DepthReading],
    elsewhere: Mapping[int, ShownPhoto] | None = None,
) -> tuple[SheetPair, ...]:
    """The pairs, those that most speaks against first. readings: those that stand. elsewhere:
    photos of other jobs that the reader may see, by id."""
    if comparison is None:
        return ()
    here = {photo.photo.pk: photo for point in comparison.points for photo in photos_of(point)}
    known = {**(elsewhere or {}), **here}
    places = {place.label: place for place in comparison.places}
    pairs = []
    for point in comparison.points:
        place = places.get(point.label)
        depth = depth_at(place, readings, below) if place is not None else None
        reasons = reasons_against(
            _of_shot(point.before),
            _of_shot(point.after),
            depth,
            further=[_told(shown) for shown in point.further],
            wants=place.moment if place is not None else "",
        )
        likes = dict.fromkeys(reason.like for reason in reasons if reason.like in known)
        keys = [key for key in likes if key is not None][:LIKES_SHOWN]
        shown = tuple(_like(known[key], comparison) for key in keys)
        pairs.append(SheetPair(point, reasons, depth, shown))
    return tuple(sorted(pairs, key=lambda pair: weight_of(pair.reasons)))


def _like(shown: ShownPhoto, comparison: Comparison) -> LikePhoto:
    photo = shown.photo
    of = "" if photo.job_id == comparison.job.pk else f", {reference_of(photo.job_id)}"
    place = f"{photo.get_moment_display()} at {photo.point_label or 'no point'}"
    return LikePhoto(shown, f"Like: {place}{of}")


def groups_of(sheet: Sequence[SheetPair]) -> tuple[SheetGroup, ...]:
    """First those that something speaks against; then by what is to be seen on several, so that it
    is read once and the eye compares like with like; then the rest."""
    doubted = tuple(pair for pair in sheet if pair.reasons)
    kinds: dict[str, list[SheetPair]] = {}
    for pair in sheet:
        if not pair.reasons:
            kinds.setdefault(pair.shows[1], []).append(pair)
    several = [kind for kind, pairs in kinds.items() if kind and len(pairs) > 1]
    rest = tuple(pair for kind in kinds if kind not in several for pair in kinds[kind])
    groups = [SheetGroup(DOUBTED, doubted, False)]
    groups += [
        SheetGroup(kind[:1].upper() + kind[1:], tuple(kinds[kind]), True) for kind in several
    ]
    groups.append(SheetGroup(REST if len(groups) > 1 or doubted else NOTHING, rest, False))
    return tuple(group for group in groups if group.pairs)


def machine_checks(
    verdict: VerdictShown | None, sheet: Sequence[SheetPair]
) -> tuple[MachineCheck, ...]:
    """What has been checked of the verdict and of all photos, each in a line."""
    shown = [photo for pair in sheet for photo in photos_of(pair.point)]
    found = [_verdict_check(verdict.assessment)] if verdict else []
    if verdict:
        found.append(_depths_check(verdict))
    return (*found, *_photo_checks(shown)) if shown else tuple(found)


def photos_of(point: ComparedPoint) -> Iterator[ShownPhoto]:
    """The photos of a point, before and after first."""
    for shot in point.shots:
        if shot.shown is not None:
            yield shot.shown
    yield from point.further


def _photo_checks(shown: Sequence[ShownPhoto]) -> Iterator[MachineCheck]:
    codes = [_codes(photo) for photo in shown]
    timed = [photo.taken_at is not None for photo in shown]
    placed = [
        photo.inspection is not None and photo.inspection.exif_latitude_deg is not None
        for photo in shown
    ]
    yield _counted("Taken during the visit", codes, TIME_CODES, "time", timed, "tell no time")
    within = f"Within {FAR_M / 1000:g} km"
    yield _counted(within, codes, ("far_away",), "place", placed, "tell no place")
    compared = ["not_compared" not in found for found in codes]
    plain = "too plain to compare"
    yield _counted("Like no other photo", codes, LIKE_CODES, "likeness", compared, plain)
    yield _counted("Sharp and light enough", codes, POOR_CODES)
    waiting = sum(photo.inspection is None for photo in shown)
    if waiting:
        said = f"{waiting} of {len(shown)}"
        yield MachineCheck("Not looked at yet", said, False, told_at_pairs=True)


def _counted(
    words: str,
    codes: Sequence[frozenset[str]],
    against: Sequence[str],
    of: str = "",
    told: Sequence[bool] = (),
    untold: str = "",
) -> MachineCheck:
    """How many photos pass; those that say nothing of it are counted apart, not as passing."""
    silent = [found for found, tells in zip(codes, told, strict=False) if not tells]
    bad = sum(bool(found & set(against)) for found in codes)
    said = f"{len(codes) - len(silent) - bad} of {len(codes)}"
    said = f"{said}; {len(silent)} {untold}" if silent else said
    at_pairs = all(found & set(SILENT_CODES[of]) for found in silent)
    return MachineCheck(words, said, not bad + len(silent), at_pairs)


def _verdict_check(assessment: Assessment) -> MachineCheck:
    again = rerun(assessment)
    said = {True: "the same to the letter", None: "its engine is not kept here", False: "differs"}
    return MachineCheck("Verdict reached again", said[again.agrees], again.agrees is True)


def _depths_check(verdict: VerdictShown) -> MachineCheck:
    """Mean and least against what is asked, and how many things in them are odd as a set."""
    row, odd = verdict.assessment, len(verdict.suspicions)
    said = [f"{row.rule.min_depth_mm:g} mm asked"]
    if row.mean_depth_mm is not None and row.least_depth_mm is not None:
        said = [f"mean {row.mean_depth_mm:.0f}, least {row.least_depth_mm:.0f}", *said]
    said += [f"{odd} to look at, below"] if odd else []
    met = row.verdict == Assessment.Verdict.MEETS
    return MachineCheck("Depths", ", ".join(said), met and not odd)


def _codes(photo: ShownPhoto) -> frozenset[str]:
    rows = photo.inspection.warnings if photo.inspection else []
    return frozenset(row["code"] for row in rows)


def _of_shot(shot: Shot) -> PhotoTold | None:
    """When it was taken counts as known only by the camera's clock or the phone's."""
    if shot.shown is None or shot.facts is None:
        return None
    taken = shot.facts.taken
    return _told(shot.shown, None if taken.what == STORED else taken.told.at)


def _told(shown: ShownPhoto, taken_at: datetime | None = None) -> PhotoTold:
    rows = shown.inspection.warnings if shown.inspection else []
    doubts = [(row["code"], row["text"]) for row in rows]
    known = {text for _, text in doubts}
    doubts += [("", text) for text in shown.warnings if text not in known]
    likes = tuple((row["code"], row["photo"]) for row in rows if "photo" in row)
    return PhotoTold(taken_at, tuple(doubts), shown.inspection is not None, likes)
