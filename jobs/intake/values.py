"""What is asked about a home that is taken in, and whether the answers can be right.

One reading for the form, the API and the spreadsheet, so that all three say the same.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from datetime import date, datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from jobs.errors import Refused
from jobs.intake.nations import check_nation
from jobs.intake.postcodes import normalise_postcode
from jobs.models import Nation, Property


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong with one answer and how to mend it."""

    field: str
    message: str
    remedy: str = ""

    def to_dict(self) -> dict[str, str]:
        return {"field": self.field, "message": self.message, "remedy": self.remedy}


@dataclass(frozen=True, slots=True)
class PropertyValues:
    """A home as it is taken in. `due_on`: when its job is due, if a date was set."""

    reference: str
    address_line_1: str
    town: str
    postcode: str
    nation: str
    address_line_2: str = ""
    nation_confirmed: bool = False
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    householder_name: str = ""
    householder_phone: str = ""
    householder_email: str = ""
    access_notes: str = ""
    due_on: date | None = None

    def of_property(self) -> dict[str, Any]:
        """The answers that are kept on the property itself."""
        return {f.name: getattr(self, f.name) for f in fields(self) if f.name != "due_on"}


PROPERTY_FIELDS = tuple(f.name for f in fields(PropertyValues))
REQUIRED_FIELDS = ("reference", "address_line_1", "town", "postcode", "nation")
YES = {"yes", "y", "true", "1", "on", "confirmed"}
NO = {"", "no", "n", "false", "0", "off"}
DATE_FORMS = ("%Y-%m-%d", "%d/%m/%Y", "%d.%m.%Y", "%d %b %Y", "%d %B %Y")


def _text(name: str, value: Any) -> str:
    text = " ".join(str(value or "").split()) if name != "access_notes" else str(value or "")
    text = text.strip().replace("\x00", "")
    if not text and name in REQUIRED_FIELDS:
        raise Refused("This is missing.", field=name, remedy="Fill it in.")
    longest = Property._meta.get_field(name).max_length
    if longest is not None and len(text) > longest:
        raise Refused(
            f"This has {len(text)} characters; at most {longest} are kept.",
            field=name,
            remedy="Shorten it.",
        )
    return text


def _postcode(name: str, value: Any) -> str:
    return normalise_postcode(str(value or ""))


def _nation(name: str, value: Any) -> str:
    text = " ".join(str(value or "").replace("_", " ").split())
    for nation in Nation:
        if text.lower() == nation.label.lower():
            return nation.value
    what = f"“{text}” is not a nation of the United Kingdom." if text else "This is missing."
    raise Refused(what, field=name, remedy="Write England, Wales, Scotland or Northern Ireland.")


def _yes_or_no(name: str, value: Any) -> bool:
    text = str("" if value is None else value).strip().lower()
    if text in YES or text in NO:
        return text in YES
    raise Refused(f"“{text}” is neither yes nor no.", field=name, remedy="Write yes or no.")


def _degrees(name: str, value: Any) -> float | None:
    text = str("" if value is None else value).strip()
    if not text:
        return None
    low, high = (49.0, 61.0) if name == "latitude_deg" else (-8.7, 2.0)
    try:
        number = float(text)
    except ValueError:
        raise Refused(
            f"“{text[:20]}” is not a number of degrees.",
            field=name,
            remedy="Write decimal degrees such as 52.6345, or leave it empty.",
        ) from None
    if not low <= number <= high:
        raise Refused(
            f"{text[:20]} degrees lies outside the United Kingdom ({low:g} to {high:g}).",
            field=name,
            remedy="Are latitude and longitude swapped? Correct it, or leave both empty.",
        )
    return number


def _email(name: str, value: Any) -> str:
    text = _text(name, value)
    try:
        if text:
            validate_email(text)
    except ValidationError:
        raise Refused(
            f"“{text[:40]}” is not an e-mail address.",
            field=name,
            remedy="Correct it, or leave it empty.",
        ) from None
    return text


def _date(name: str, value: Any) -> date | None:
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, date):
        return value
    text = str(value or "").strip().removesuffix(" 00:00:00").removesuffix("T00:00:00")
    if not text:
        return None
    for form in DATE_FORMS:
        try:
            return datetime.strptime(text, form).date()
        except ValueError:
            continue
    raise Refused(
        f"“{text[:20]}” is not a date we can read.",
        field=name,
        remedy="Write it as 2027-03-31 or 31/03/2027, or leave it empty.",
    )


READERS: dict[str, Callable[[str, Any], Any]] = {
    "postcode": _postcode,
    "nation": _nation,
    "nation_confirmed": _yes_or_no,
    "latitude_deg": _degrees,
    "longitude_deg": _degrees,
    "householder_email": _email,
    "due_on": _date,
}


def _check_together(read: dict[str, Any]) -> None:
    """What can only be judged from two answers at once."""
    if read.get("postcode") and read.get("nation"):
        check_nation(read["postcode"], read["nation"], confirmed=bool(read.get("nation_confirmed")))


def _check_position(read: dict[str, Any]) -> None:
    if "latitude_deg" not in read or "longitude_deg" not in read:
        return
    if (read["latitude_deg"] is None) != (read["longitude_deg"] is None):
        missing = "latitude_deg" if read["latitude_deg"] is None else "longitude_deg"
        raise Refused(
            "Half a position is given.",
            field=missing,
            remedy="Give both latitude and longitude, or leave both empty.",
        )


def read_values(raw: Mapping[str, Any]) -> tuple[PropertyValues | None, tuple[Problem, ...]]:
    """The answers as typed values, or every problem found; never both.

    `raw` is keyed by the names of `PropertyValues`; a missing optional answer may be left out.
    """
    read: dict[str, Any] = {}
    problems: list[Problem] = []

    def attempt(step: Callable[[], Any]) -> Any:
        try:
            return step()
        except Refused as refusal:
            problems.append(Problem(refusal.field, refusal.message, refusal.remedy))
            return None

    for name in PROPERTY_FIELDS:
        reader, before = READERS.get(name, _text), len(problems)
        value = attempt(lambda reader=reader, name=name: reader(name, raw.get(name)))  # type: ignore[misc]
        if len(problems) == before:
            read[name] = value
    attempt(lambda: _check_together(read))
    attempt(lambda: _check_position(read))
    return (None, tuple(problems)) if problems else (PropertyValues(**read), ())
