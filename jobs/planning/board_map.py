"""The rounds of one day of a board, drawn and told in order."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

from jobs.planning.board import base_of, depot_of, position_of
from jobs.planning.board_parts import Block, Board, CrewRow, Track
from jobs.planning.round_map import Call, DepotToDraw, RoundMap, RoundToDraw, maps_of


@dataclass(frozen=True, slots=True)
class ToldRound:
    """A crew's day in words: what the map shows, for whoever does not see it."""

    crew: str
    base_words: str
    blocks: tuple[Block, ...]
    drive_min: int
    drive_km: float
    unplaced: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class DayMaps:
    day: date
    maps: tuple[RoundMap, ...]
    rounds: tuple[ToldRound, ...]


def maps_of_day(board: Board, day: date) -> DayMaps:
    """The maps of a day of the board and the same in words; empty for a day without visits."""
    if day not in board.days:
        return DayMaps(day, (), ())
    nth = board.days.index(day)
    out = [(row, row.tracks[nth]) for row in board.rows if row.tracks and row.tracks[nth].blocks]
    return DayMaps(
        day,
        maps_of(_to_draw(row, track) for row, track in out),
        tuple(_told(row, track) for row, track in out),
    )


def _to_draw(row: CrewRow, track: Track) -> RoundToDraw:
    calls = []
    for block in track.blocks:
        home = block.visit.job.property
        at = position_of(home)
        if at is not None:
            district = home.postcode.partition(" ")[0]
            call = Call(block.visit.pk, block.order, at, district, home.town)
            by_depot, returns = block.back is not None, bool(block.loads_during)
            calls.append(replace(call, by_depot=by_depot, returns=returns))
    depot_at = depot_of(row.crew)
    depot = DepotToDraw(row.crew.depot.name, depot_at) if depot_at and row.crew.depot else None
    return RoundToDraw(row.crew.name, base_of(row.crew), tuple(calls), depot)


def _told(row: CrewRow, track: Track) -> ToldRound:
    return ToldRound(
        row.crew.name,
        row.crew.base_postcode or "its base",
        track.blocks,
        track.drive_min,
        sum(leg.km for leg in track.legs),
        tuple(b for b in track.blocks if position_of(b.visit.job.property) is None),
    )
