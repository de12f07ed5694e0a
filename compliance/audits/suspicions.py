"""What speaks against a pair of photos, strongest first, so that the auditor's eyes go there first.

Nothing here judges: it orders, and says in plain words why. The weights and times are ours
[common practice, no published source].
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Protocol

WORK_TAKES = timedelta(minutes=10)
"""A loft is hardly laid sooner: a before and an after nearer in time want a look."""
NEAR_MM = 3000.0
"""A reading further from the photo point says nothing of the depth there."""
FEWEST_ALIKE = 4
WEIGHTS = {
    "like_other_job": 9,
    "like_other_moment": 9,
    "unreadable": 8,
    "far_away": 7,
    "before_visit": 7,
    "after_visit": 7,
    "blurred": 4,
    "dark": 4,
    "small": 4,
    "not_compared": 3,
    "no_exif": 2,
    "no_time": 2,
}
SHORT = {
    "like_other_job": "same as in another job",
    "like_other_moment": "same as another photo",
    "unreadable": "cannot be opened",
    "far_away": "far away",
    "before_visit": "too early",
    "after_visit": "too late",
    "blurred": "blurred",
    "dark": "too dark",
    "small": "too small",
    "not_compared": "too plain to compare",
    "no_exif": "no camera data",
    "no_time": "no time",
    "": "clock in doubt",
}
"""What a reason says at a glance; its sentence stands behind it."""
MISSING, BACKWARDS, TOO_SOON, BELOW, ALIKE, OTHER_DOUBT, NOT_LOOKED_AT = 8, 7, 5, 6, 3, 2, 4


@dataclass(frozen=True, slots=True)
class Reason:
    """weight: how much it speaks against the pair, for ordering alone. short: the same in a few
    words. like: the id of the photo that it looks the same as."""

    weight: int
    text: str
    short: str = ""
    like: int | None = None


@dataclass(frozen=True, slots=True)
class PhotoTold:
    """What the machine knows of one photo. doubts: (code, words); an empty code for a clock's.

    likes: the id of the photo that it looks the same as, by the code of the doubt.
    """

    taken_at: datetime | None
    doubts: tuple[tuple[str, str], ...] = ()
    is_looked_at: bool = True
    likes: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class DepthTold:
    """The standing reading nearest to a photo point [mm], and how far away it was taken [mm].

    alike: how many standing readings of its area say the very same, itself among them, if all do.
    """

    depth_mm: float
    away_mm: float
    alike: int = 0
    is_below: bool = False


class Placed(Protocol):
    """A reading or a photo point on the plan [mm]."""

    @property
    def x_mm(self) -> float: ...
    @property
    def y_mm(self) -> float: ...


class Measured(Placed, Protocol):
    @property
    def depth_mm(self) -> float: ...
    @property
    def area_id(self) -> int: ...


def depth_at(
    place: Placed, readings: Iterable[Measured], below: Iterable[Measured] = ()
) -> DepthTold | None:
    """The reading nearest to a place; None where the nearest is more than 3 m away.

    readings: those that stand. below: those of them that are less than the rule asks.
    """
    rows = list(readings)
    nearest = min(rows, key=lambda row: _away(place, row), default=None)
    if nearest is None or _away(place, nearest) > NEAR_MM:
        return None
    same = Counter(row.depth_mm for row in rows if row.area_id == nearest.area_id)
    count = same[nearest.depth_mm]
    return DepthTold(
        nearest.depth_mm,
        _away(place, nearest),
        count if len(same) == 1 and count >= FEWEST_ALIKE else 0,
        nearest in list(below),
    )


def reasons_against(
    before: PhotoTold | None,
    after: PhotoTold | None,
    depth: DepthTold | None = None,
    *,
    further: Sequence[PhotoTold] = (),
    wants: str = "both",
) -> tuple[Reason, ...]:
    """All that speaks against one photo point, strongest first; empty where nothing does.

    wants: the moments at which the drawing asks for a photo here: both, before, after, or "".
    """
    found: list[Reason] = []
    for word, photo in (("before", before), ("after", after)):
        if photo is not None:
            found += _of_photo(word.capitalize(), photo)
        elif wants in (word, "both"):
            found.append(Reason(MISSING, f"No {word} photo is stored.", f"No {word} photo"))
    for photo in further:
        found += _of_photo("Further photo", photo)
    found += _of_times(before, after)
    if depth is not None:
        found += _of_depth(depth)
    return tuple(sorted(found, key=lambda reason: -reason.weight))


def weight_of(reasons: Sequence[Reason]) -> tuple[int, int]:
    """To order by, the most suspicious first: the strongest reason, then all of them together."""
    weights = [reason.weight for reason in reasons]
    return -max(weights, default=0), -sum(weights)


def _of_photo(word: str, photo: PhotoTold) -> list[Reason]:
    if not photo.is_looked_at:
        text = f"{word}: the machine has not looked at it yet."
        return [Reason(NOT_LOOKED_AT, text, f"{word}: not looked at yet")]
    likes = dict(photo.likes)
    return [
        Reason(
            WEIGHTS.get(code, OTHER_DOUBT),
            said := f"{word}: {text[:1].lower()}{text[1:]}",
            f"{word}: {SHORT[code]}" if code in SHORT else said,
            likes.get(code),
        )
        for code, text in photo.doubts
    ]


def _of_times(before: PhotoTold | None, after: PhotoTold | None) -> list[Reason]:
    if before is None or after is None or before.taken_at is None or after.taken_at is None:
        return []
    took = after.taken_at - before.taken_at
    if took < timedelta():
        text = "The after photo was taken before the before photo."
        return [Reason(BACKWARDS, text, "After is earlier than before")]
    if took < WORK_TAKES:
        minutes = round(took.total_seconds() / 60)
        said = f"{minutes} minute{'' if minutes == 1 else 's'}" if minutes else "seconds"
        return [Reason(TOO_SOON, f"Before and after were taken {said} apart.", f"{said} apart")]
    return []


def _of_depth(depth: DepthTold) -> list[Reason]:
    found = []
    if depth.is_below:
        text = f"{depth.depth_mm:g} mm is less than is asked here."
        found.append(Reason(BELOW, text, f"{depth.depth_mm:g} mm: too little"))
    if depth.alike:
        text = f"All {depth.alike} readings of this area are {depth.depth_mm:g} mm."
        found.append(Reason(ALIKE, text, f"All {depth.alike} readings alike"))
    return found


def _away(place: Placed, row: Placed) -> float:
    return math.hypot(place.x_mm - row.x_mm, place.y_mm - row.y_mm)
