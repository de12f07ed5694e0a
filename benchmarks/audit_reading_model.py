"""What a person does and looks at when reading one job's evidence, on the page and in folders.

Hands and deciding: the keystroke-level model (Card, Moran and Newell, The keystroke-level model
for user performance time with interactive systems, CACM 23, 1980, 396-410). Eyes: a fixation in a
scene takes about a third of a second (Rayner, Eye movements and attention in reading, scene
perception, and visual search, Q. J. Exp. Psychol. 62, 2009, 1457-1506), one in reading or
searching about 0.23 s, to which perceiving a short number adds 0.1 s and comparing it with another
0.07 s (the model human processor: Card, Moran and Newell, The Psychology of Human-Computer
Interaction, 1983, chapter 2). All of these times are from memory.

How often something is looked at is an assumption, and was written down before any ratio was
reckoned: a middle, one that favours folders and one that favours the page, each with its reason.
Whatever is looked at on both sides takes as long on both. Answers of folders take no time.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

KEY_S, POINT_S, HOME_S, MENTAL_S = 0.28, 1.10, 0.40, 1.35
"""K (an average typist who is no secretary), P, H, M of the paper."""
SCENE_S, SEARCH_S, PERCEIVE_S, COMPARE_S = 0.33, 0.23, 0.10, 0.07
READ_S = SEARCH_S + PERCEIVE_S
"""One short number or word: a fixation, and taking it in."""
CLICK, DOUBLE_CLICK, SWITCH = 1, 2, 2
"""Keys that each takes; SWITCH is to the other window."""
WORDS = "Gap in the wool beside the hatch."


@dataclass(frozen=True, slots=True)
class Assumed:
    """How often the eyes rest on what, and what the mind has to do between.

    looks: fixations on one photo: its floor, edges, what stands in it.
    gauge_looks: fixations on a gauge before its figure is read; gauges: share of points that have
    one in their after photo.
    facts: short numbers read of each photo in folders for its time and place, to be compared with
    the visit and the home.
    finding_row: fixations until the row of a point is found in the sheet of readings.
    minding: mental operators for going from one pair to the next in two windows.
    keeps_sheet_open: whether the sheet of readings stays in sight beside both photos.
    looks_twice: whether all small pictures are searched for one that is there twice.
    ticks: whether each point is ticked off in a list. zooms: whether gauges must be enlarged.
    looks_up_plan: whether each point is looked up on the plan, in a window of its own.
    """

    name: str
    looks: int
    gauge_looks: int
    gauges: float
    facts: int
    finding_row: int
    minding: int
    keeps_sheet_open: bool
    looks_twice: bool
    ticks: bool
    zooms: bool
    looks_up_plan: bool


ASSUMED = (
    # Many fixations on each photo, which both sides share, few gauges; folders sorted, all windows
    # in sight, place taken from one number, nothing forgotten, nothing ticked.
    Assumed("favours folders", 8, 2, 0.3, 2, 1, 0, True, False, False, False, False),
    # Four places of a photo; half of the points with a gauge; date, hour and two numbers of a
    # position; a glance down the sheet, into it and onto the number; one act of deciding a pair.
    Assumed("middle", 4, 2, 0.5, 4, 3, 1, False, True, False, False, False),
    # An overview and one place; a gauge everywhere, too small at half a screen; degrees, minutes;
    # points ticked off and looked up on the plan.
    Assumed("favours the page", 2, 2, 1.0, 6, 4, 2, False, True, True, True, True),
)


@dataclass(frozen=True, slots=True)
class Job:
    """What there is to read. odd: photos that are odd, and looked at twice; doubted: pairs that the
    machine speaks against, rightly or not, of each of which the photo spoken against is looked at
    twice on the page; likes: photos beside them that one of them looks the same as; figures:
    numbers of verdict and readings; checks: lines of the machine; told: headings and points that
    say what is to be seen; reason_words: that say what is odd, of all pairs together; wordings:
    ready words to choose a finding from, 0 where it is typed, and how many words the chosen have;
    screens: of pairs, each seen by one key; jumps: keys to figures and readings that the last of
    these did not lead to.
    """

    photos: int
    pairs: int
    odd: int
    doubted: int
    figures: int
    checks: int
    told: int
    reason_words: int
    likes: int = 0
    wordings: int = 0
    wording_words: int = 0
    screens: int = 0
    jumps: int = 0


@dataclass
class Acts:
    """Operators of the model; looks_s is the eyes' time, answers_s what was waited for (R)."""

    keys: int = 0
    points: int = 0
    homes: int = 0
    mental: int = 0
    looks_s: float = 0.0
    answers_s: float = 0.0
    told: list[tuple[str, float]] = field(default_factory=list)

    @property
    def hands_s(self) -> float:
        hands = self.keys * KEY_S + self.points * POINT_S + self.homes * HOME_S
        return hands + self.mental * MENTAL_S

    @property
    def seconds(self) -> float:
        return self.hands_s + self.looks_s + self.answers_s

    def step(
        self,
        what: str,
        *,
        keys: int = 0,
        points: int = 0,
        homes: int = 0,
        mental: int = 0,
        looks_s: float = 0.0,
        answers_s: float = 0.0,
    ) -> None:
        before = self.seconds
        self.keys += keys
        self.points += points
        self.homes += homes
        self.mental += mental
        self.looks_s += looks_s
        self.answers_s += answers_s
        self.told.append((what, self.seconds - before))

    def __str__(self) -> str:
        return (
            f"{self.keys} K, {self.points} P, {self.homes} H, {self.mental} M, hands "
            f"{self.hands_s:.0f} s, eyes {self.looks_s:.0f} s, R {self.answers_s:.1f} s: "
            f"{self.seconds:.0f} s"
        )


def shared_looks(job: Job, assumed: Assumed) -> Iterator[tuple[str, float]]:
    """What is there to see on both sides, and takes as long on both [s]."""
    photos_s = job.photos * assumed.looks * SCENE_S
    yield f"the photos themselves, {assumed.looks} fixations each", photos_s
    gauges = round(job.pairs * assumed.gauges)
    gauges_s = gauges * (assumed.gauge_looks * SCENE_S + READ_S)
    yield f"{gauges} gauges and the figure on each", gauges_s
    yield "figures of the verdict, readings on the plan", job.figures * READ_S


def on_the_page(job: Job, assumed: Assumed, answers_s: dict[str, float]) -> Acts:
    """The page: what was pressed in the browser, with the answers measured there."""
    acts = Acts()
    acts.step(
        "what the machine has checked, line by line",
        mental=1,
        looks_s=job.checks * 3 * READ_S,
    )
    what = f"what points are to show, two words at {job.told} headings and points"
    acts.step(what, looks_s=job.told * 2 * READ_S)
    acts.step(
        f"{job.screens} screens of pairs, each seen by one key; then verdict and drawing",
        keys=job.screens,
        mental=job.screens,
        answers_s=answers_s["screens"],
    )
    for what, looks_s in shared_looks(job, assumed):
        acts.step(what, looks_s=looks_s)
    gauges = round(job.pairs * assumed.gauges)
    acts.step("the depth recorded, beneath each gauge", looks_s=gauges * (READ_S + COMPARE_S))
    again = job.doubted + job.likes
    acts.step(
        f"{job.doubted} doubted pairs: why in {job.reason_words} words; there, large, the photo "
        f"meant looked at again, and {job.likes} that it looks like",
        mental=job.doubted,
        looks_s=job.reason_words * SEARCH_S + again * assumed.looks * SCENE_S,
    )
    if job.jumps:
        acts.step(
            "to the readings on the drawing",
            keys=job.jumps,
            mental=job.jumps,
            answers_s=answers_s["drawing"],
        )
    _finding_on_the_page(acts, job, answers_s["finding"])
    acts.step("read: the next job", keys=1, mental=1, answers_s=answers_s["next"])
    return acts


def _finding_on_the_page(acts: Acts, job: Job, answer_s: float) -> None:
    """Two arrows to its pair, `f`; every ready wording is glanced at, the chosen one read word by
    word; or its class and the words are typed. Then Enter, or Ctrl Enter."""
    if not job.wordings:
        acts.step("one finding, words typed", keys=5 + len(WORDS) + 2, mental=2, answers_s=answer_s)
        return
    acts.step(
        f"one finding: its pair, one of {job.wordings} ready wordings",
        keys=4 + 1,
        mental=2,
        looks_s=(job.wordings + job.wording_words) * SEARCH_S,
        answers_s=answer_s,
    )


def in_folders(job: Job, assumed: Assumed) -> Acts:
    """The same in a file manager, two viewers and two spreadsheets, files named by point and
    moment, in the order of the points."""
    acts = Acts()
    open_one = {"points": 1, "keys": DOUBLE_CLICK, "mental": 1}
    acts.step("open the job's folder", **open_one, homes=1)
    acts.step("open the sheet of readings", **open_one)
    acts.step("mark its depths, so that it shows mean and least", points=2, keys=CLICK, mental=1)
    acts.step("open the verdict and close it", points=1, keys=DOUBLE_CLICK + 2, mental=1, homes=1)
    acts.step("open the drawing and close it", points=1, keys=DOUBLE_CLICK + 2, mental=1)
    acts.step(
        "open the first photo before and after, side by side, with their details",
        points=2,
        keys=2 * DOUBLE_CLICK + 4 + 2,
        mental=2,
        homes=1,
    )
    acts.step(
        "other window, next photo, twice for each further pair",
        keys=2 * (SWITCH + 1) * (job.pairs - 1),
        mental=assumed.minding * (job.pairs - 1),
    )
    for what, looks_s in shared_looks(job, assumed):
        acts.step(what, looks_s=looks_s)
    acts.step("what each point is to show, two words", looks_s=job.pairs * 2 * READ_S)
    acts.step(
        f"time and place of each photo, {assumed.facts} numbers",
        looks_s=job.photos * assumed.facts * (READ_S + COMPARE_S),
    )
    _recorded_depths(acts, job, assumed)
    if assumed.looks_twice:
        acts.step(
            "all small pictures, for one that is there twice",
            points=1,
            keys=2,
            mental=1,
            looks_s=job.photos * SEARCH_S,
        )
    acts.step(
        f"{job.odd} odd photos: zoomed, looked at again, back",
        keys=2 * job.odd,
        mental=job.odd,
        looks_s=job.odd * 2 * assumed.looks * SCENE_S,
    )
    acts.step("close what is open", keys=6)
    acts.step(
        "to the next line of findings; job, photo, class and words typed",
        keys=2 + CLICK + len("J-000123") + 1 + len("P12 after") + 1 + 1 + 1 + len(WORDS) + 1,
        points=1,
        mental=2,
        homes=2,
    )
    acts.step("tick the job off in the list", keys=2 + CLICK + 1, points=1, mental=1, homes=1)
    return acts


def _recorded_depths(acts: Acts, job: Job, assumed: Assumed) -> None:
    gauges = round(job.pairs * assumed.gauges)
    away = 0 if assumed.keeps_sheet_open else 1
    acts.step(
        "the depth recorded for each gauge, found in the sheet",
        keys=gauges * away * 2 * SWITCH,
        mental=gauges * away,
        looks_s=gauges * (assumed.finding_row * SEARCH_S + READ_S + COMPARE_S),
    )
    if assumed.zooms:
        acts.step("each gauge enlarged in its viewer, and back", points=gauges, keys=4 * gauges)
    if assumed.ticks:
        acts.step("each point ticked off", keys=2 * job.pairs)
    if assumed.looks_up_plan:
        acts.step(
            "each point looked up on the plan",
            keys=job.pairs * 2 * SWITCH,
            mental=job.pairs,
            looks_s=job.pairs * 3 * SEARCH_S,
        )
