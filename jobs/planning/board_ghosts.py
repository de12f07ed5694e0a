"""What a run proposes, laid over the board as ghosts of visits, before anybody accepted it."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from datetime import date

from django.utils import timezone

from jobs.models import PlanRun, ProposedVisit
from jobs.planning.board import step_of
from jobs.planning.board_parts import STEPS_A_DAY, Board, CrewRow, Ghost, Track
from jobs.planning.proposals import proposals_of


def with_ghosts(board: Board, run: PlanRun) -> Board:
    """The board with every open proposal of a run, and which blocks it would take away.

    One query.
    """
    lines = list(proposals_of(run).changing().unanswered())
    going = frozenset(line.visit_id for line in lines if line.visit_id)
    ghosts: dict[tuple[int, date], list[Ghost]] = defaultdict(list)
    for line in lines:
        if line.during is not None and line.crew_id is not None:
            day = timezone.localtime(line.during.lower).date()
            ghosts[line.crew_id, day].append(_ghost(line))
    rows = tuple(_row(row, ghosts, going) for row in board.rows)
    return replace(board, rows=rows, run_id=run.pk)


def _row(
    row: CrewRow, ghosts: dict[tuple[int, date], list[Ghost]], going: frozenset[int]
) -> CrewRow:
    tracks = tuple(
        _track(track, tuple(ghosts.get((row.crew.pk, track.day), ())), going)
        for track in row.tracks
    )
    return replace(row, tracks=tracks)


def _track(track: Track, ghosts: tuple[Ghost, ...], going: frozenset[int]) -> Track:
    blocks = tuple(
        replace(block, is_going=True) if block.visit.pk in going else block
        for block in track.blocks
    )
    return replace(track, blocks=blocks, ghosts=ghosts)


def _ghost(line: ProposedVisit) -> Ghost:
    """A proposal that lasts past midnight is drawn to the end of the day."""
    assert line.during is not None
    step, last = step_of(line.during.lower), step_of(line.during.upper)
    job = (line.visit or line.need).job  # type: ignore[union-attr]
    return Ghost(line, job, step, (last if last > step else STEPS_A_DAY) - step)
