"""JSON read strictly: no name twice, no NaN, an object where one is due, hex where hex is due."""

from __future__ import annotations

import json
from typing import Any

from compliance.verify.faults import Unsound


def read_object(text: bytes | str, where: str) -> dict[str, Any]:
    """Raises Unsound, naming `where`, for anything but one JSON object."""
    try:
        found = DECODER.decode(text if isinstance(text, str) else text.decode())
    except (ValueError, RecursionError) as error:
        raise Unsound(where, "is no readable JSON", found=error) from error
    if not isinstance(found, dict):
        raise Unsound(where, "is no JSON object")
    return found


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a name stands in it twice")
    return found


def _refuse(constant: str) -> None:
    raise ValueError(f"{constant} is no number")


DECODER = json.JSONDecoder(object_pairs_hook=_once, parse_constant=_refuse)


def field(values: dict[str, Any], name: str, kind: type, where: str) -> Any:
    """A field of the right kind. Raises Unsound."""
    found = values.get(name)
    if type(found) is not kind:
        raise Unsound(where, f"has no {name} that is {kind.__name__}")
    return found


def hex_field(values: dict[str, Any], name: str, length: int, where: str) -> bytes:
    """`length` bytes given as hexadecimal digits. Raises Unsound."""
    return from_hex(field(values, name, str, where), length, f"{name} of {where}")


def from_hex(text: Any, length: int, where: str) -> bytes:
    try:
        found = bytes.fromhex(text)
    except (TypeError, ValueError) as error:
        raise Unsound(where, "is not written in hexadecimal digits") from error
    if len(found) != length or found.hex() != text:
        raise Unsound(where, f"is not {length} bytes in lower-case hexadecimal digits")
    return found


def whole_number(values: dict[str, Any], name: str, where: str) -> int:
    found = values.get(name)
    if type(found) is not int or found < 0:
        raise Unsound(where, f"has no {name} that is a whole number from 0 on")
    return found
