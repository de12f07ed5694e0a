"""Ready words for what is commonly found: chosen by a key, then changed as the case asks.

Words of the trade; their classes are suggestions [common practice, no published source], and the
auditor decides. `{place}` stands for the thing that the finding is about.
"""

from __future__ import annotations

from dataclasses import dataclass

from compliance.models import Finding

Class = Finding.Severity
PICTURE, READING, TIME, PAPER, JOB = "picture", "reading", "time", "paper", "job"
KINDS = {
    "pair": PICTURE,
    "photo": PICTURE,
    "reading": READING,
    "time": TIME,
    "arrival": TIME,
    "check": TIME,
    "handover": TIME,
    "leave": TIME,
    "verdict": PAPER,
    "certificate": PAPER,
    "": JOB,
}
"""Which words fit a thing, by the kind in its key (`compliance.audits.things`)."""
WHOLE = "the whole floor from this corner"
EAVES = "eaves, the air path open above the wool"
HATCH = "insulated and draught-sealed"
TANK = "jacket on, nothing laid beneath"
DECK = "wool runs on beneath, not pressed"
CUT_ROUND = "cut round, no gap"
CABLE = "on top of the full depth, or as the electrician says"
DOWNLIGHT = "covered as the cover's maker says"
FAN = "ducted to the outside, duct insulated"
PIPE = "lagged along its run"
MOST = 9
"""As many as there are keys to choose them by."""

DOUBT_CLASS = Class.MAJOR
"""The class suggested for what the machine says against a pair; its words come first of all."""


@dataclass(frozen=True, slots=True)
class Wording:
    """about: what it is said of, one of the values of KINDS. severity: the class suggested.

    shows: of what is to be seen there, as the drawing says it, this is the contrary; empty where it
    can be said of any.
    """

    about: str
    severity: Class
    text: str
    shows: str = ""

    @property
    def severity_words(self) -> str:
        return str(Class(self.severity).label)

    @property
    def shown(self) -> str:
        """Without the place, for the list to choose from."""
        words = self.text.removeprefix("{place}: ")
        return words[:1].upper() + words[1:]


WANTED: tuple[Wording, ...] = (
    Wording(PICTURE, Class.MINOR, "{place}: part of the floor cannot be seen.", WHOLE),
    Wording(PICTURE, Class.MAJOR, "{place}: part of the floor has no wool.", WHOLE),
    Wording(PICTURE, Class.MAJOR, "{place}: wool in the eaves shuts the air path.", EAVES),
    Wording(PICTURE, Class.MINOR, "{place}: wool stops short of the eaves.", EAVES),
    Wording(PICTURE, Class.MINOR, "{place}: gap in the wool at the hatch.", HATCH),
    Wording(PICTURE, Class.MINOR, "{place}: hatch not insulated, or not draught-sealed.", HATCH),
    Wording(PICTURE, Class.MAJOR, "{place}: tank without a jacket.", TANK),
    Wording(PICTURE, Class.MAJOR, "{place}: wool laid beneath the tank.", TANK),
    Wording(PICTURE, Class.MINOR, "{place}: wool pressed, or missing, beneath the deck.", DECK),
    Wording(PICTURE, Class.MINOR, "{place}: gap in the wool round it.", CUT_ROUND),
    Wording(PICTURE, Class.MAJOR, "{place}: cable under high load buried in the wool.", CABLE),
    Wording(PICTURE, Class.CRITICAL, "{place}: covered by wool without its cover.", DOWNLIGHT),
    Wording(PICTURE, Class.MAJOR, "{place}: duct ends in the loft.", FAN),
    Wording(PICTURE, Class.MINOR, "{place}: duct not insulated.", FAN),
    Wording(PICTURE, Class.MINOR, "{place}: pipe not lagged along its run.", PIPE),
)
"""The contrary of each thing that the drawing wants to be seen at a photo point."""

WORDINGS: tuple[Wording, ...] = (
    *WANTED,
    Wording(PICTURE, Class.MAJOR, "{place}: the gauge shows another depth than is recorded."),
    Wording(PICTURE, Class.OBSERVATION, "{place}: no gauge to be read in the photo."),
    Wording(PICTURE, Class.MAJOR, "{place}: before and after do not show the same loft."),
    Wording(PICTURE, Class.MINOR, "{place}: wool pressed down, or not butted tight."),
    Wording(READING, Class.MAJOR, "{place}: the photo there shows another depth."),
    Wording(READING, Class.MAJOR, "{place}: less than is asked."),
    Wording(READING, Class.OBSERVATION, "{place}: alike to the millimetre with all others."),
    Wording(READING, Class.MINOR, "{place}: no photo of a gauge near this place."),
    Wording(TIME, Class.MAJOR, "{place}: before the visit began."),
    Wording(TIME, Class.MAJOR, "{place}: far from the home."),
    Wording(TIME, Class.MINOR, "{place}: after the crew had left."),
    Wording(TIME, Class.OBSERVATION, "{place}: the clock is in doubt."),
    Wording(PAPER, Class.MAJOR, "{place}: does not follow from the evidence."),
    Wording(PAPER, Class.MINOR, "{place}: a part of the loft is left out."),
    Wording(JOB, Class.MINOR, "Photos of the finished work are missing."),
    Wording(JOB, Class.MAJOR, "The photos do not show the loft that was surveyed."),
    Wording(JOB, Class.MINOR, "Hatch, tank or pipes are not insulated."),
    Wording(JOB, Class.OBSERVATION, "Photos are hard to judge: dark or blurred."),
)


def wordings_about(key: str, shows: str = "") -> tuple[Wording, ...]:
    """The ready words for a thing, in the order of their keys; none for what nobody knows.

    shows: what is to be seen there; its contraries come first.
    """
    about = KINDS.get(key.partition(":")[0])
    fits = ("", shows)
    return tuple(each for each in WORDINGS if each.about == about and each.shows in fits)
