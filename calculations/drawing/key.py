"""The key below a plan, and the lists of words that some drawings carry."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from calculations.drawing import symbols
from calculations.drawing.plan import fixture_words
from calculations.drawing.sheet import (
    LINE,
    MARGIN,
    SMALL,
    SOFT,
    TEXT,
    WIDTH,
    Position,
    Sheet,
    text_width,
    wrap,
)
from calculations.loft import HazardKind, Loft, ObstacleKind

Mark = Callable[[Position], None]
SYMBOL_ROOM = 30.0

WORDS_OF_HAZARD = {
    HazardKind.ASBESTOS: "Suspected asbestos: stop, keep out, report",
    HazardKind.VERMICULITE: "Loose vermiculite may hold asbestos: stop, report",
    HazardKind.BATS_OR_BIRDS: "Bats or birds: stop and ask the statutory body",
    HazardKind.WET_TIMBER: "Wet timber: find the cause before insulating",
    HazardKind.DAMAGED_WIRING: "Damaged wiring: electrician first",
    HazardKind.FRAGILE_CEILING: "Fragile ceiling: boards over at least three joists",
    HazardKind.OTHER: "Hazard",
}


def loft_marks(
    sheet: Sheet, loft: Loft, *, see_through_decks: bool = False
) -> list[tuple[Mark, str]]:
    """Key entries for what the loft holds, each kind once."""
    entries: list[tuple[Mark, str]] = []
    if any(area.eaves_edges for area in loft.areas):
        entries.append(
            (
                lambda at: symbols.eaves_edge(
                    sheet, (at[0] - 11, at[1] + 2), (at[0] + 11, at[1] + 2), (0.0, 1.0)
                ),
                "Eaves (wall plate)",
            )
        )
    if any(area.holes_mm for area in loft.areas):
        entries.append((lambda at: symbols.hole(sheet, _swatch(at)), "No loft floor"))
    for kind in dict.fromkeys(o.kind for o in loft.obstacles):
        if see_through_decks and kind is ObstacleKind.DECK:
            entries.append(
                (lambda at: symbols.deck_above(sheet, _swatch(at)), "Boarded deck above")
            )
            continue
        entries.append(
            (
                lambda at, kind=kind: symbols.obstacle(  # type: ignore[misc]
                    sheet, kind, _swatch(at)
                ),
                symbols.WORDS_OF_OBSTACLE[kind],
            )
        )
    runs = {(f.kind, f.high_load) for f in loft.fixtures if f.to_x_mm is not None}
    for fixture, loaded, words in fixture_words(loft):
        if (fixture, loaded) in runs:
            entries.append(
                (
                    lambda at, f=fixture, high=loaded: symbols.run(  # type: ignore[misc]
                        sheet, f, high, (at[0] - 12, at[1]), (at[0] + 12, at[1])
                    ),
                    words,
                )
            )
        else:
            entries.append(
                (lambda at, f=fixture: symbols.spot(sheet, f, at), words)  # type: ignore[misc]
            )
    return entries


def _swatch(at: Position) -> list[Position]:
    x, y = at
    return [(x - 8, y - 5), (x + 8, y - 5), (x + 8, y + 5), (x - 8, y + 5)]


def draw_key(sheet: Sheet, entries: Sequence[tuple[Mark, str]]) -> None:
    """Entries in two columns where their words are short enough, else across the sheet."""
    if not entries:
        return
    sheet.open_group("key", "Key")
    column = (WIDTH - 2 * MARGIN) / 2
    fits = column - SYMBOL_ROOM - 2
    y = sheet.bottom + 14
    side = 0
    for mark, words in sorted(entries, key=lambda e: text_width(e[1], SMALL + 0.5) > fits):
        wide = text_width(words, SMALL + 0.5) > fits
        if wide and side:
            y += 16
            side = 0
        x = MARGIN + side * column
        mark((x + 13, y))
        sheet.text(x + SYMBOL_ROOM, y + 3.2, words, size=SMALL + 0.5, name="key-words")
        side = 0 if wide else 1 - side
        if not side:
            y += 16
    sheet.close_group()
    sheet.bottom = y + (8 if side else -8)


def draw_hazards(sheet: Sheet, loft: Loft) -> None:
    """Hazards in words, each with a caution mark."""
    for hazard in loft.hazards:
        words = WORDS_OF_HAZARD[hazard.kind]
        if hazard.note:
            words += f" ({hazard.note})"
        y = sheet.bottom + 14
        symbols.caution(sheet, (MARGIN + 13, y))
        sheet.bottom = _paragraph(sheet, MARGIN + SYMBOL_ROOM, y + 3.2, words) + 2


def draw_list(sheet: Sheet, title: str, lines: Sequence[str]) -> None:
    """A titled list of short lines under everything else."""
    y = sheet.bottom + 18
    sheet.text(MARGIN, y, title, weight="bold", name="list-title")
    for words in lines:
        y += 3
        y = _paragraph(sheet, MARGIN, y + TEXT * LINE, words) - 1
    sheet.bottom = y + 2


def draw_note(sheet: Sheet, words: str) -> None:
    sheet.bottom = _paragraph(sheet, MARGIN, sheet.bottom + 16, words, fill=SOFT)


def _paragraph(sheet: Sheet, x: float, y: float, words: str, fill: str | None = None) -> float:
    """Words wrapped from x to the right margin; returns the last baseline."""
    size = SMALL + 0.5
    lines = wrap(words, size, WIDTH - MARGIN - x)
    for i, line in enumerate(lines):
        if fill:
            sheet.text(x, y + i * size * LINE, line, size=size, fill=fill, name="note")
        else:
            sheet.text(x, y + i * size * LINE, line, size=size, name="note")
    return y + (len(lines) - 1) * size * LINE
