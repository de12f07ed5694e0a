"""The numbers of the depth verdict, apart from geometry and words.

One rule, written once over arrays: a job's few areas and a million jobs' areas go through
the same lines, so both get the same verdict bit for bit. To make that hold whatever the
order of the readings, depths are taken to the nearest tenth of a millimetre first and all
sums are sums of whole numbers.

The rule itself is ours: no published standard was found that says how many depth readings
prove a loft. The shares and counts are data in `DepthRequirement`, and are common practice
at best.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

SHORT: Final = 0
UNPROVEN: Final = 1
MEETS: Final = 2
VERDICTS: Final = ("short", "unproven", "meets")
"""Verdicts by code. The code grows with how good the news is; a job's is its worst area's."""

TENTHS: Final = 10
GREATEST_DEPTH_MM: Final = 5000.0


class DepthError(ValueError):
    """A requirement or reading that cannot be. Names the field and the remedy."""

    def __init__(self, path: str, message: str, remedy: str) -> None:
        super().__init__(f"{path}: {message} {remedy}")
        self.path = path
        self.message = message
        self.remedy = remedy


@dataclass(frozen=True, slots=True)
class DepthRequirement:
    """What readings must show for an area to meet its depth.

    min_depth_mm: the depth asked for.
    m2_per_reading: one reading at least for each so many square metres of open floor.
    least_readings_per_area: never fewer than this in one area.
    reading_tolerance_mm: a reading counts as below only when it lies more than this under
        `min_depth_mm`; half a division of the usual 10 mm depth gauge [common practice].
    least_depth_share: no single reading may be thinner than this share of `min_depth_mm`.
    greatest_share_below: at most this share of an area's readings may be below.
    least_limit_share: the lower confidence limit of the credited mean depth must reach
        this share of `min_depth_mm`, else more readings are asked for.
    confidence: one-sided confidence of that limit.
    least_eaves_depth_mm: what a reading with the eaves allowance must still show, less
        the tolerance, or what fits under the roof there if that is less.
    zone_m2: an area is cut into zones of about this size, each of which needs a reading.
    """

    min_depth_mm: float
    m2_per_reading: float = 5.0
    least_readings_per_area: int = 4
    least_depth_share: float = 0.90
    greatest_share_below: float = 0.20
    reading_tolerance_mm: float = 5.0
    least_limit_share: float = 0.95
    confidence: float = 0.95
    least_eaves_depth_mm: float = 100.0
    zone_m2: float = 10.0

    def __post_init__(self) -> None:
        bounds = {
            "min_depth_mm": (1.0, GREATEST_DEPTH_MM),
            "m2_per_reading": (0.1, 1000.0),
            "least_readings_per_area": (1, 1000),
            "least_depth_share": (0.0, 1.0),
            "greatest_share_below": (0.0, 1.0),
            "reading_tolerance_mm": (0.0, 100.0),
            "least_limit_share": (0.0, 1.0),
            "confidence": (0.5, 0.9999),
            "least_eaves_depth_mm": (0.0, GREATEST_DEPTH_MM),
            "zone_m2": (0.5, 1000.0),
        }
        for name, (low, high) in bounds.items():
            value = getattr(self, name)
            if not (isinstance(value, int | float) and low <= value <= high):
                raise DepthError(name, f"is {value!r}.", f"Give a number from {low:g} to {high:g}.")
        if self.least_readings_per_area != int(self.least_readings_per_area):
            raise DepthError(
                "least_readings_per_area",
                f"is {self.least_readings_per_area!r}.",
                "Give a whole number of readings.",
            )

    @property
    def required_tenths(self) -> int:
        return round(self.min_depth_mm * TENTHS)

    @property
    def below_tenths(self) -> int:
        """A reading under this counts as below."""
        return self.required_tenths - round(self.reading_tolerance_mm * TENTHS)

    @property
    def thin_tenths(self) -> int:
        """A reading under this is too thin by itself."""
        return math.ceil(self.required_tenths * self.least_depth_share - 1e-6)

    def in_words(self) -> tuple[str, ...]:
        """The rule in plain sentences, as a page shows it beside a verdict."""
        thin, below = self.thin_tenths / TENTHS, self.below_tenths / TENTHS
        limit = self.least_limit_share * self.min_depth_mm
        return (
            f"Each area needs one reading for each {self.m2_per_reading:g} m² of open floor, at "
            f"least {max(2, self.least_readings_per_area)}, and one in each zone of about "
            f"{self.zone_m2:g} m².",
            f"The mean depth must be at least {self.min_depth_mm:g} mm.",
            f"No reading may be under {thin:g} mm.",
            f"At most {self.greatest_share_below:.0%} of the readings may be under {below:g} mm.",
            f"The mean must reach {limit:g} mm with {self.confidence:.0%} confidence, no "
            f"reading credited with more than {self.min_depth_mm:g} mm.",
            "At the eaves, where full depth does not fit, "
            f"{min(self.least_eaves_depth_mm, self.min_depth_mm):g} mm or what fits beneath the "
            f"air gap, less {self.reading_tolerance_mm:g} mm. Beside tanks and under decks "
            "readings are shown, not judged.",
        )

    def eaves_tenths(self, room_mm: float) -> int:
        """An eaves reading under this is too thin, where `room_mm` fits under the roof."""
        least = min(self.least_eaves_depth_mm, room_mm, self.min_depth_mm)
        return max(0, math.floor((least - self.reading_tolerance_mm) * TENTHS))


def to_tenths(depth_mm: ArrayLike) -> Ints:
    """Depths [mm] as whole tenths of a millimetre, halves to even."""
    return np.rint(np.asarray(depth_mm, dtype=np.float64) * TENTHS).astype(np.int64)


@dataclass(frozen=True, slots=True)
class AreaTally:
    """Whole-number sums over the readings of each area; arrays of one shape.

    readings, total_tenths: readings counted and the sum of their depths [0.1 mm].
    below, too_thin: how many lie under `below_tenths`, under `thin_tenths`.
    shortfall_tenths, shortfall_squares: sum, and sum of squares, of what each reading
        lacks to the required depth (nothing where it is deeper) [0.1 mm, 0.01 mm2].
    zones_read: zones with at least one counted reading.
    eaves_too_thin: readings with the eaves allowance under what the eaves must have there.
    readings_needed, zones_needed: from the area's size and shape.
    """

    readings: Ints
    total_tenths: Ints
    below: Ints
    too_thin: Ints
    shortfall_tenths: Ints
    shortfall_squares: Ints
    zones_read: Ints
    eaves_too_thin: Ints
    readings_needed: Ints
    zones_needed: Ints


@dataclass(frozen=True, slots=True)
class AreaJudgement:
    """`judge`'s answer; arrays of the tally's shape.

    code: index into VERDICTS. mean_mm and share_below are nan without readings,
    lower_limit_mm is nan with fewer than two.
    """

    code: NDArray[np.int8]
    mean_mm: Floats
    lower_limit_mm: Floats
    share_below: Floats
    mean_passes: Bools
    thinnest_passes: Bools
    share_passes: Bools
    eaves_pass: Bools
    count_passes: Bools
    spread_passes: Bools
    limit_passes: Bools


@lru_cache(maxsize=64)
def _t_table(confidence: float, size: int) -> Floats:
    """Student's t quantile by number of readings (index); index 0 and 1 have none."""
    table = np.full(size, np.nan)
    table[2:] = stdtrit(np.arange(1, size - 1, dtype=np.float64), confidence)
    table.setflags(write=False)
    return table


def lower_limit_mm(
    required_tenths: int | Ints,
    readings: Ints,
    shortfall_tenths: Ints,
    shortfall_squares: Ints,
    confidence: float,
) -> Floats:
    """One-sided lower confidence limit of the mean credited depth [mm].

    A reading deeper than required is credited with the required depth D only: a deep spot
    does not make up for a thin one. With e_i = max(0, D - d_i),

        limit = D - mean(e) - t(n - 1) * sqrt(sum(e_i^2) / (n - 1) / n)

    which is Student's limit for a mean (e.g. NIST/SEMATECH e-Handbook, 1.3.5.2) with the
    sum of squares taken about zero instead of about the mean of e. That sum is never
    smaller, so the limit is never higher than Student's; and it never falls when a reading
    gets deeper, which Student's own limit can do. Needs two readings, else nan.
    """
    count = np.asarray(readings, dtype=np.int64)
    size = 1 << max(6, int(count.max(initial=0)).bit_length())
    t = _t_table(confidence, size)[count]
    n = np.maximum(count, 2).astype(np.float64)
    spread = np.sqrt(shortfall_squares / (n - 1.0) / n)
    return np.asarray((required_tenths - shortfall_tenths / n - t * spread) / TENTHS)


def judge(tally: AreaTally, requirement: DepthRequirement) -> AreaJudgement:
    """Verdict of every area in `tally`.

    Short, when what was measured is under what is asked: the mean under the required depth,
    any reading too thin by itself, too large a share below, or an eaves reading under what
    the eaves must have. Otherwise unproven, when there are too few readings, a zone without
    one, or a lower confidence limit under its share of the required depth. Otherwise meets.

    More depth in any reading never makes a verdict worse: every condition is a count or sum
    that only moves the right way.
    """
    n = tally.readings
    required = requirement.required_tenths
    has_any = n > 0
    safe_n = np.maximum(n, 1).astype(np.float64)
    mean_passes = ~has_any | (tally.total_tenths >= required * n)
    thinnest_passes = tally.too_thin == 0
    share_below = tally.below / safe_n
    share_passes = share_below <= requirement.greatest_share_below
    eaves_pass = tally.eaves_too_thin == 0
    limit = lower_limit_mm(
        required, n, tally.shortfall_tenths, tally.shortfall_squares, requirement.confidence
    )
    count_passes = n >= tally.readings_needed
    spread_passes = tally.zones_read >= tally.zones_needed
    least_limit = requirement.least_limit_share * (required / TENTHS)
    limit_passes = limit >= least_limit
    measured_enough = mean_passes & thinnest_passes & share_passes & eaves_pass
    proved = has_any & count_passes & spread_passes & limit_passes
    code = np.where(measured_enough, np.where(proved, MEETS, UNPROVEN), SHORT).astype(np.int8)
    return AreaJudgement(
        code=code,
        mean_mm=np.where(has_any, tally.total_tenths / safe_n / TENTHS, np.nan),
        lower_limit_mm=limit,
        share_below=np.where(has_any, share_below, np.nan),
        mean_passes=mean_passes,
        thinnest_passes=thinnest_passes,
        share_passes=share_passes,
        eaves_pass=eaves_pass,
        count_passes=count_passes,
        spread_passes=spread_passes,
        limit_passes=limit_passes,
    )


def tally_readings(
    requirement: DepthRequirement,
    *,
    area: Ints,
    depth_tenths: Ints,
    zone: Ints,
    counts: Bools,
    eaves: Bools,
    eaves_least_tenths: Ints,
    readings_needed: Ints,
    zones_needed: Ints,
) -> AreaTally:
    """Sums of `judge`, by area, from one row per reading.

    area: index of the reading's area, 0 .. number of areas - 1. zone: the reading's zone in
    its area, or -1 for none that counts. counts: readings judged against the full depth.
    eaves: readings judged against `eaves_least_tenths` (never also `counts`). Rows in
    neither are left out. readings_needed, zones_needed: one per area.
    """
    areas = len(readings_needed)

    def by_area(rows: Bools, values: Ints | None = None) -> Ints:
        weights = None if values is None else values[rows].astype(np.float64)
        sums = np.bincount(area[rows], weights=weights, minlength=areas)
        return sums.astype(np.int64)  # exact: whole numbers below 2**53

    shortfall = np.maximum(requirement.required_tenths - depth_tenths, 0)
    zoned = counts & (zone >= 0)
    width = int(zone.max(initial=0)) + 1
    seen = np.zeros(areas * width, dtype=bool)
    seen[area[zoned] * width + zone[zoned]] = True
    return AreaTally(
        readings=by_area(counts),
        total_tenths=by_area(counts, depth_tenths),
        below=by_area(counts & (depth_tenths < requirement.below_tenths)),
        too_thin=by_area(counts & (depth_tenths < requirement.thin_tenths)),
        shortfall_tenths=by_area(counts, shortfall),
        shortfall_squares=by_area(counts, shortfall * shortfall),
        zones_read=seen.reshape(areas, width).sum(axis=1, dtype=np.int64),
        eaves_too_thin=by_area(eaves & (depth_tenths < eaves_least_tenths)),
        readings_needed=readings_needed,
        zones_needed=zones_needed,
    )
