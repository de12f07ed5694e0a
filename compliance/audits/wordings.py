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
MOST = 9
"""As many as there are keys to choose them by."""


@dataclass(frozen=True, slots=True)
class Wording:
    """about: what it is said of, one of the values of KINDS. severity: the class suggested."""

    about: str
    severity: Class
    text: str

    @property
    def severity_words(self) -> str:
        return str(Class(self.severity).label)

    @property
    def shown(self) -> str:
        """Without the place, for the list to choose from."""
        words = self.text.removeprefix("{place}: ")
        return words[:1].upper() + words[1:]


WORDINGS: tuple[Wording, ...] = (
    Wording(PICTURE, Class.MINOR, "{place}: gap in the wool at the hatch."),
    Wording(PICTURE, Class.MINOR, "{place}: strips of wool are not butted tight."),
    Wording(PICTURE, Class.MAJOR, "{place}: wool in the eaves shuts the 50 mm air gap."),
    Wording(PICTURE, Class.CRITICAL, "{place}: downlight covered by wool without its cover."),
    Wording(PICTURE, Class.MAJOR, "{place}: cable under high load buried in the wool."),
    Wording(PICTURE, Class.MAJOR, "{place}: the gauge shows another depth than is recorded."),
    Wording(PICTURE, Class.OBSERVATION, "{place}: no gauge to be read in the photo."),
    Wording(PICTURE, Class.MAJOR, "{place}: before and after do not show the same loft."),
    Wording(PICTURE, Class.MINOR, "{place}: wool pressed down, or something lies on it."),
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


def wordings_about(key: str) -> tuple[Wording, ...]:
    """The ready words for a thing, in the order of their keys; none for what nobody knows."""
    about = KINDS.get(key.partition(":")[0])
    return tuple(wording for wording in WORDINGS if wording.about == about)
