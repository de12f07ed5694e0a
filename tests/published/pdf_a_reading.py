"""What the checks of PDF/A share: their list, and ways to go through a file."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pikepdf
from pikepdf import Array, Dictionary, Name, Pdf, Stream

Check = Callable[[bytes, Pdf], Iterator[str]]
CHECKS: dict[str, Check] = {}


def clause(number: str) -> Callable[[Check], Check]:
    def keep(check: Check) -> Check:
        CHECKS[number] = check
        return check

    return keep


def words(text: str) -> frozenset[str]:
    return frozenset(text.split())


def dictionaries(opened: Pdf) -> Iterator[Any]:
    """Every dictionary and stream, those written inside others included."""
    for whole in opened.objects:
        todo, depth = [(whole, 0)], 40
        while todo:
            one, level = todo.pop()
            if isinstance(one, Stream | Dictionary):
                yield one
            inside = (
                list(one.values())
                if isinstance(one, Dictionary)
                else list(one.stream_dict.values())
                if isinstance(one, Stream)
                else list(one)
                if isinstance(one, Array)
                else []
            )
            todo += [
                (value, level + 1)
                for value in inside
                if isinstance(value, Stream | Dictionary | Array)
                and not value.is_indirect
                and level < depth
            ]


def streams(opened: Pdf) -> Iterator[Stream]:
    return (one for one in dictionaries(opened) if isinstance(one, Stream))


def of_type(opened: Pdf, name: str) -> Iterator[Any]:
    return (one for one in dictionaries(opened) if one.get("/Type") == Name(f"/{name}"))


def fonts(opened: Pdf) -> Iterator[Any]:
    return of_type(opened, "Font")


def plain(value: Any) -> str:
    return str(value).removeprefix("/")


def annotations(opened: Pdf) -> Iterator[Any]:
    for page in opened.pages:
        yield from page.get("/Annots", [])


def instructions(opened: Pdf) -> Iterator[tuple[str, list[Any]]]:
    """Operators with their operands, of pages, forms and patterns."""
    drawn: list[Any] = [page.obj for page in opened.pages]
    drawn += [
        one
        for one in streams(opened)
        if one.get("/Subtype") == Name.Form or one.get("/PatternType") == 1
    ]
    for one in drawn:
        for instruction in pikepdf.parse_content_stream(one):
            yield str(instruction.operator), list(instruction.operands)
