"""What a phone tells of a photo in Upload-Metadata, as the domain takes it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from uuid import UUID

from django.utils import timezone
from django.utils.dateparse import parse_datetime

from jobs.errors import Refused
from jobs.evidence.photos import PhotoNote
from jobs.uploads.protocol import BadHeader

SHA256 = re.compile(r"[0-9a-f]{64}")
READ_HERE = frozenset(
    {"visit", "moment", "point_label", "note", "client_key", "sha256"}
    | {"phone_at", "phone_taken_at", "phone_sent_at"}
)


def photo_note(told: Mapping[str, str], told_at: datetime) -> PhotoNote:
    """The note of a photo, checked.

    told_at: our clock when the metadata came. A photo without `phone_taken_at` counts as taken
    when the phone put it among what is to be sent (`phone_at`).

    Raises:
        Refused: a moment that there is not, words too long, a key or time that is none.
    """
    taken_at = _time(told, "phone_taken_at") or _time(told, "phone_at")
    note = PhotoNote(
        moment=told.get("moment", ""),
        point_label=told.get("point_label", ""),
        note=told.get("note", ""),
        client_key=_key(told),
        phone_taken_at=taken_at,
        phone_sent_at=_time(told, "phone_sent_at"),
        told_at=told_at,
        more={name: text for name, text in told.items() if name not in READ_HERE},
    )
    note.check()
    return note


def visit_number(told: Mapping[str, str]) -> int:
    """The visit the photo belongs to. Raises BadHeader for anything but a number."""
    text = told.get("visit", "")
    if not (text.isascii() and text.isdigit()) or len(text) > 18:
        raise BadHeader(
            f"{text!r} is no visit.", field="visit", remedy="Send the number of the visit."
        )
    return int(text)


def announced_sha256(told: Mapping[str, str]) -> str:
    """SHA-256 of the whole file in hexadecimal, or nothing where the phone did not say."""
    text = told.get("sha256", "").strip().lower()
    if text and not SHA256.fullmatch(text):
        raise BadHeader(
            f"{text[:80]!r} is no SHA-256.", field="sha256", remedy="Send 64 hexadecimal digits."
        )
    return text


def _key(told: Mapping[str, str]) -> UUID:
    try:
        return UUID(told.get("client_key", ""))
    except ValueError:
        raise Refused(
            f"{told.get('client_key', '')[:60]!r} is no key.",
            field="client_key",
            remedy="Make a UUID for each photo, and send it each time.",
        ) from None


def _time(told: Mapping[str, str], name: str) -> datetime | None:
    text = told.get(name, "").strip()
    if not text:
        return None
    try:
        at = parse_datetime(text)
    except ValueError:
        at = None
    if at is None:
        raise Refused(f"{text[:60]!r} is no time.", field=name, remedy="Send it as ISO 8601.")
    return at if timezone.is_aware(at) else timezone.make_aware(at)
