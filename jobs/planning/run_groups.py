"""What a plan proposes as its page tells it: by crew and day, what was left out by its reason."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from django.utils import timezone

from jobs.models import Job, ProposedVisit
from jobs.planning.going_along import Kept
from jobs.planning.plan_leaves import plan_leaves
from jobs.planning.proposals import when_words
from jobs.planning.together import needed_by_line, with_partners

Change = ProposedVisit.Change
COUNT_WORDS = (
    (Change.NEW, "{} new"),
    (Change.MOVED, "{} moved"),
    (Change.OTHER_CREW, "{} from another crew"),
    (Change.TAKEN_OFF, "{} off"),
)
OPEN_UNTIL = 8
"""A part of at most so many lines lies open; a longer one is folded, its sum is read first."""
NO_REASON = "No reason was worked out: look at it on the planning page"


@dataclass(frozen=True, slots=True)
class Partner:
    """Another line that must be accepted with one."""

    line_id: int
    home: str


@dataclass(frozen=True, slots=True)
class ShownLine:
    """A proposal with its job, what would change in words, and which lines go with it.

    `leaves`: who goes along with its visit and could not come.
    """

    line: ProposedVisit
    job: Job
    what: str
    partners: tuple[Partner, ...] = ()
    needs: str = ""
    leaves: tuple[Kept, ...] = ()

    @property
    def chief(self) -> list[dict[str, str]]:
        """The first reason, and the first that says what would help if that is another."""
        reasons = self.line.reasons
        helping = next((reason for reason in reasons if reason.get("would_help")), None)
        return [each for each in reasons if each is reasons[0] or each is helping]

    @property
    def more(self) -> list[dict[str, str]]:
        """The other reasons."""
        return [each for each in self.line.reasons if each not in self.chief]

    @property
    def is_open(self) -> bool:
        return self.line.change != Change.KEPT and self.line.answer == "none"


@dataclass(frozen=True, slots=True)
class DayLines:
    """The lines of one day."""

    day: date
    lines: tuple[ShownLine, ...]


@dataclass(frozen=True, slots=True)
class CrewLines:
    """What would change for one crew, day by day; `words` sums it up."""

    name: str
    words: str
    days: tuple[DayLines, ...]
    can_answer: bool


@dataclass(frozen=True, slots=True)
class ReasonLines:
    """What was left out for one reason first of all."""

    words: str
    lines: tuple[ShownLine, ...]


@dataclass(frozen=True, slots=True)
class Proposed:
    """All parts of the page. `open_all`: few enough to be read unfolded."""

    changes: tuple[CrewLines, ...]
    taken_off: tuple[ShownLine, ...]
    misfits: tuple[ShownLine, ...]
    left: tuple[ReasonLines, ...]
    kept: tuple[CrewLines, ...]

    @property
    def open_all(self) -> bool:
        return sum(len(day.lines) for crew in self.changes for day in crew.days) <= OPEN_UNTIL

    @property
    def left_count(self) -> int:
        return sum(len(group.lines) for group in self.left)

    @property
    def kept_count(self) -> int:
        return sum(len(day.lines) for crew in self.kept for day in crew.days)

    def __bool__(self) -> bool:
        return bool(self.changes or self.taken_off or self.misfits or self.left or self.kept)


def proposed_by(lines: Iterable[ProposedVisit]) -> Proposed:
    """The lines of a run (`proposals_of`), laid out for reading and ticking."""
    shown = shown_lines(lines)

    def of(*changes: Change) -> list[ShownLine]:
        return [each for each in shown if each.line.change in changes]

    kept = of(Change.KEPT)
    return Proposed(
        changes=by_crew(of(Change.NEW, Change.MOVED, Change.OTHER_CREW)),
        taken_off=tuple(of(Change.TAKEN_OFF)),
        misfits=tuple(each for each in kept if each.line.reasons),
        left=by_reason(of(Change.LEFT)),
        kept=by_crew([each for each in kept if not each.line.reasons]),
    )


def shown_lines(lines: Iterable[ProposedVisit]) -> list[ShownLine]:
    """Each line with its job, what would change in words, and what goes with it."""
    found = list(lines)
    needed = needed_by_line(found)
    homes = {line.pk: _job(line).property.address_line_1 for line in found}
    leaves = plan_leaves(found)
    return [replace(_shown(line, needed, homes), leaves=leaves.get(line.pk, ())) for line in found]


def _job(line: ProposedVisit) -> Job:
    return (line.visit or line.need).job  # type: ignore[union-attr]


def _shown(
    line: ProposedVisit, needed: Mapping[int, Sequence[int]], homes: Mapping[int, str]
) -> ShownLine:
    direct = needed.get(line.pk, ())
    every = with_partners(direct, needed) - {line.pk} if direct else set()
    partners = tuple(Partner(pk, homes[pk]) for pk in sorted(every, key=lambda pk: homes[pk]))
    needs = " ".join(str(partner.line_id) for partner in partners)
    return ShownLine(line, _job(line), _what(line), partners, needs)


def _what(line: ProposedVisit) -> str:
    """What would change, in a few words."""
    if line.change == Change.NEW:
        return "New"
    if line.was_during is None or line.change in (Change.KEPT, Change.LEFT, Change.TAKEN_OFF):
        return ""
    was = when_words(line.was_during.lower)
    if line.change == Change.OTHER_CREW:
        return f"From {line.was_crew}, {was}"
    if line.during is not None and line.was_during.lower == line.during.lower:
        return f"Until {timezone.localtime(line.during.upper):%H:%M} instead of " + (
            f"{timezone.localtime(line.was_during.upper):%H:%M}"
        )
    return f"From {was}"


def by_crew(lines: Iterable[ShownLine]) -> tuple[CrewLines, ...]:
    """By crew, then by day, each in order."""
    rows: dict[str, list[ShownLine]] = defaultdict(list)
    for each in lines:
        rows[str(each.line.crew)].append(each)
    return tuple(
        CrewLines(
            name,
            _count_words(own),
            _by_day(own),
            any(each.is_open for each in own),
        )
        for name, own in sorted(rows.items())
    )


def _by_day(lines: Iterable[ShownLine]) -> tuple[DayLines, ...]:
    by_day: dict[date, list[ShownLine]] = defaultdict(list)
    for each in sorted(lines, key=_begins):
        by_day[timezone.localtime(_begins(each)).date()].append(each)
    return tuple(DayLines(day, tuple(own)) for day, own in by_day.items())


def _begins(shown: ShownLine) -> datetime:
    during = shown.line.during
    assert during is not None, "The database holds that a line that is placed has a time."
    return during.lower


def _count_words(lines: Sequence[ShownLine]) -> str:
    """Such as “12 new, 3 moved”."""
    counts = [
        (words, sum(each.line.change == kind for each in lines)) for kind, words in COUNT_WORDS
    ]
    told = [words.format(count) for words, count in counts if count]
    return ", ".join(told) or f"{len(lines)} as booked"


def by_reason(lines: Iterable[ShownLine]) -> tuple[ReasonLines, ...]:
    """By the first reason that keeps each out, the commonest first."""
    by_words: dict[str, list[ShownLine]] = defaultdict(list)
    for each in lines:
        reasons = each.line.reasons
        by_words[reasons[0]["words"] if reasons else NO_REASON].append(each)
    ordered = sorted(by_words.items(), key=lambda item: (-len(item[1]), item[0]))
    return tuple(ReasonLines(words.rstrip("."), tuple(own)) for words, own in ordered)
