"""The form of a UK postcode, and its area.

Source of the form: BS 7666 as given in the government's data standards catalogue (six
patterns of the outward code, the letters each place can hold); rendered from memory.
A code can have the right form and still not exist: only the postal operator's list knows.
"""

from __future__ import annotations

import re

from jobs.errors import Refused

OUTWARD = (
    r"[A-PR-UWYZ]"
    r"(?:[0-9]{1,2}|[0-9][ABCDEFGHJKPSTUW]|[A-HK-Y][0-9]{1,2}|[A-HK-Y][0-9][ABEHMNPRVWXY])"
)
INWARD = r"[0-9][ABD-HJLNP-UW-Z]{2}"
FORM = re.compile(rf"({OUTWARD})({INWARD})")
REMEDY = "Write it as on a letter, such as LE1 1AA."


def normalise_postcode(text: str) -> str:
    """Capitals with one space before the inward part: "le11aa" becomes "LE1 1AA".

    Raises:
        Refused: the text is not of the form of a UK postcode (field `postcode`).
    """
    packed = re.sub(r"[\s\-.]", "", text).upper()
    if not packed:
        raise Refused("The postcode is missing.", field="postcode", remedy=REMEDY)
    found = FORM.fullmatch(packed)
    if found is None:
        raise Refused(
            f"“{text.strip()[:20]}” is not of the form of a UK postcode.",
            field="postcode",
            remedy=REMEDY,
        )
    return f"{found[1]} {found[2]}"


def area_of(postcode: str) -> str:
    """The letters before the first digit: "LE" of "LE1 1AA"."""
    return re.match(r"[A-Z]*", postcode.upper())[0]  # type: ignore[index]
