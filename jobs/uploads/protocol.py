"""What the tus resumable upload protocol 1.0.0 says in headers (https://tus.io/protocols).

Section names below are those of that document. Everything here is parsing; nothing is stored.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils import timezone
from django.utils.http import http_date

from jobs.errors import Refused
from jobs.evidence.photos import PHOTO_LIMIT_BYTES

VERSION = "1.0.0"
EXTENSIONS = ("creation", "creation-with-upload", "checksum", "termination", "expiration")
BODY_TYPE = "application/offset+octet-stream"
CHECKSUM_ALGORITHMS = ("sha1", "sha256")
LONGEST_METADATA = 8_000

ABOUT_THE_SERVER = {
    "Tus-Resumable": VERSION,
    "Tus-Version": VERSION,
    "Tus-Extension": ",".join(EXTENSIONS),
    "Tus-Max-Size": str(PHOTO_LIMIT_BYTES),
    "Tus-Checksum-Algorithm": ",".join(CHECKSUM_ALGORITHMS),
}


class UploadRefused(Refused):
    """Refused for good: sending the same again gets the same answer."""

    status = 422


class BadHeader(Refused):
    """A header that the protocol does not allow. field: its name."""

    status = 400


class OtherVersion(Refused):
    """Core Protocol, Tus-Resumable: 412, and the request is not processed."""

    status = 412


class WrongBody(Refused):
    """Requests, PATCH: 415 for any other Content-Type."""

    status = 415


class TooLong(Refused):
    """Creation, POST: 413 for more than Tus-Max-Size; also for more bytes than were announced."""

    status = 413


class WrongOffset(Refused):
    """Requests, PATCH: 409, and nothing is changed."""

    status = 409


class Busy(Refused):
    """Another request is sending to this upload at the moment: 423."""

    status = 423


class Gone(Refused):
    """Expiration: 410 for an upload that has expired."""

    status = 410


class TooMany(Refused):
    """A person has too much under way: 429."""

    status = 429


class BrokeOff(Refused):
    """The connection ended, or fell silent, before the body did: 408. What came is kept."""

    status = 408


class ChecksumMismatch(Refused):
    """Checksum: 460, and the chunk is discarded."""

    status = 460


@dataclass(frozen=True, slots=True)
class Checksum:
    """What Upload-Checksum announces of one request's body. digest: the raw bytes."""

    algorithm: str
    digest: bytes

    def hasher(self) -> Any:
        return hashlib.new(self.algorithm, usedforsecurity=False)

    def is_that_of(self, hasher: Any) -> bool:
        return hmac.compare_digest(hasher.digest(), self.digest)


def require_version(headers: Mapping[str, str]) -> None:
    """Raises OtherVersion unless Tus-Resumable names ours."""
    if headers.get("Tus-Resumable") != VERSION:
        raise OtherVersion(
            "This server speaks version 1.0.0 of the tus protocol.",
            field="Tus-Resumable",
            remedy=f"Send the header Tus-Resumable: {VERSION}.",
        )


def require_body_type(content_type: str) -> None:
    """Raises WrongBody for a body that is not announced as part of an upload."""
    if content_type.partition(";")[0].strip().lower() != BODY_TYPE:
        raise WrongBody(
            "The body is not announced as part of an upload.",
            field="Content-Type",
            remedy=f"Send Content-Type: {BODY_TYPE}.",
        )


def read_number(headers: Mapping[str, str], name: str) -> int:
    """A header that is a non-negative integer. Raises BadHeader."""
    text = headers.get(name, "").strip()
    if not (text.isascii() and text.isdigit()) or len(text) > 15:
        raise BadHeader(
            f"It is {text!r}." if text else "It is missing.",
            field=name,
            remedy="Send a whole number of bytes, 0 or more.",
        )
    return int(text)


def read_length(headers: Mapping[str, str]) -> int:
    """Upload-Length of a creation. Raises BadHeader, TooLong, or UploadRefused for nothing."""
    if "Upload-Defer-Length" in headers:
        raise BadHeader(
            "This server wants to know the length at once.",
            field="Upload-Defer-Length",
            remedy="Send Upload-Length instead.",
        )
    length = read_number(headers, "Upload-Length")
    if length > PHOTO_LIMIT_BYTES:
        raise TooLong(
            f"This file is larger than {PHOTO_LIMIT_BYTES // 1_000_000} MB.",
            field="Upload-Length",
            remedy="Choose a smaller picture size in the camera's settings.",
        )
    if length == 0:
        raise UploadRefused(
            "This file is empty: the phone had not finished saving it.",
            field="file",
            remedy="Take the photo again with the phone's camera.",
        )
    return length


def read_checksum(headers: Mapping[str, str]) -> Checksum | None:
    """Upload-Checksum, or None without one. Raises BadHeader for another algorithm (400)."""
    text = headers.get("Upload-Checksum")
    if text is None:
        return None
    algorithm, _, encoded = text.strip().partition(" ")
    if algorithm not in CHECKSUM_ALGORITHMS:
        raise BadHeader(
            f"This server does not know the checksum {algorithm!r}.",
            field="Upload-Checksum",
            remedy=f"Use one of {', '.join(CHECKSUM_ALGORITHMS)}.",
        )
    digest = _base64(encoded.strip(), "Upload-Checksum")
    if len(digest) != hashlib.new(algorithm, usedforsecurity=False).digest_size:
        raise BadHeader(
            f"This is no {algorithm} checksum.",
            field="Upload-Checksum",
            remedy="Send the raw digest in Base64.",
        )
    return Checksum(algorithm, digest)


def read_metadata(text: str) -> dict[str, str]:
    """Upload-Metadata: `key value,key value`, each value in Base64, here UTF-8 text.

    Raises:
        BadHeader: a key is empty, has a blank, or comes twice; a value is not Base64 of UTF-8.
    """
    if len(text) > LONGEST_METADATA:
        raise BadHeader(
            f"It is longer than {LONGEST_METADATA} characters.", field="Upload-Metadata"
        )
    found: dict[str, str] = {}
    for pair in text.split(",") if text.strip() else ():
        key, _, encoded = pair.strip().partition(" ")
        if not key or not key.isascii() or not key.isprintable() or key in found:
            raise BadHeader(
                f"The key {key!r} comes twice." if key in found else f"{key!r} is no key.",
                field="Upload-Metadata",
                remedy="Give each pair a key of its own, without blanks.",
            )
        found[key] = _text(_base64(encoded.strip(), "Upload-Metadata"), key)
    return found


def _text(value: bytes, key: str) -> str:
    try:
        text = value.decode("utf-8")
    except UnicodeDecodeError:
        text = "\x00"
    if "\x00" in text:
        raise BadHeader(
            f"The value of {key} is no text.", field="Upload-Metadata", remedy="Send UTF-8."
        )
    return text


def _base64(encoded: str, field: str) -> bytes:
    try:
        return base64.b64decode(encoded, validate=True)
    except (binascii.Error, ValueError):
        raise BadHeader(
            f"{encoded[:40]!r} is not Base64.", field=field, remedy="Encode values in Base64."
        ) from None


def require_unexpired(expires_at: datetime) -> None:
    """Raises Gone once an upload's time is over."""
    if expires_at <= timezone.now():
        raise Gone("This upload has expired.", remedy="Begin a new one.")


def expires(at: datetime) -> dict[str, str]:
    """Upload-Expires, in the date format of RFC 9110 (formerly RFC 7231, section 7.1.1.1)."""
    return {"Upload-Expires": http_date(at.timestamp())}
