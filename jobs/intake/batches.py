"""A spreadsheet of homes on its way in: received, looked through, imported.

Looking through and importing are tasks that may die and run again: what is done is seen in
the rows themselves, and only one at a time works on a batch.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from itertools import islice
from pathlib import PurePath
from typing import IO

import pghistory
from django.core.files import File
from django.core.files.storage import default_storage
from django.db import connection
from django.db.models import Count, F
from django.utils import timezone

from jobs.errors import Conflict, Refused, refusals_explained
from jobs.intake.properties import check_scheme, same_home, take_in_property
from jobs.intake.spreadsheet import MOST_BYTES, PIECE_BYTES, read_sheet
from jobs.intake.values import Problem, PropertyValues, read_values
from jobs.models import Company, IntakeBatch, IntakeRow, Job, Property, Scheme, Stage, User

ROWS_AT_ONCE = 500
WAITING_TOO_LONG = timedelta(minutes=5)
LOCK_SPACE = 0x1A7A  # keeps these advisory locks apart from others
Outcome, State = IntakeRow.Outcome, IntakeBatch.State


def receive_file(
    company: Company, scheme: Scheme, file: IO[bytes], name: str, by: User
) -> IntakeBatch:
    """Store a spreadsheet as it came, to be looked through by `preview`.

    Raises:
        Refused: the file is empty or too large, or the scheme is not open to the company.
    """
    check_scheme(company, scheme)
    digest, size_bytes = hashlib.sha256(), 0
    while piece := file.read(PIECE_BYTES):
        digest.update(piece)
        size_bytes += len(piece)
    if size_bytes == 0:
        raise Refused("This file is empty.", field="file", remedy="Choose another file.")
    if size_bytes > MOST_BYTES:
        raise Refused(
            f"This file has {size_bytes / 1e6:.0f} MB; at most {MOST_BYTES / 1e6:.0f} are read.",
            field="file",
            remedy="Send it in parts.",
        )
    file.seek(0)
    name = PurePath(name).name[-200:]
    stored = default_storage.save(
        f"intake/{company.pk}/{digest.hexdigest()}{PurePath(name).suffix[:8]}", File(file)
    )
    return IntakeBatch.objects.create(
        company=company,
        scheme=scheme,
        file_name=name,
        stored_name=stored,
        sha256=digest.hexdigest(),
        sent_by=by,
    )


@contextmanager
def _alone(batch_id: int) -> Iterator[bool]:
    """True for the only one who works on this batch; the lock ends with its connection."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_lock(%s, %s)", [LOCK_SPACE, batch_id])
        mine = bool(cursor.fetchone()[0])
    try:
        yield mine
    finally:
        if mine:
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_unlock(%s, %s)", [LOCK_SPACE, batch_id])


def left_lying() -> list[tuple[int, str]]:
    """(id, state) of batches that nobody seems to work on, such as after a broker was down.

    Sending one again that is worked on after all does nothing: see `_alone`.
    """
    sent_before = timezone.now() - WAITING_TOO_LONG
    waiting = IntakeBatch.objects.filter(
        state__in=(State.READING, State.IMPORTING), sent_at__lt=sent_before
    )
    return list(waiting.order_by("pk").values_list("pk", "state"))


# --- Looking through


def preview(batch: IntakeBatch) -> IntakeBatch:
    """Read every row and say what would become of it. Changes nothing but the batch.

    A file that cannot be read leaves the batch `refused` with the reason.
    """
    with _alone(batch.pk) as mine:
        batch.refresh_from_db()
        if not mine or batch.state != State.READING:
            return batch
        batch.rows.all().delete()
        try:
            _look_through(batch)
        except Refused as refusal:
            batch.rows.all().delete()
            batch.state, batch.refusal = State.REFUSED, str(refusal)
            batch.finished_at = timezone.now()
            batch.save(update_fields=["state", "refusal", "finished_at"])
    return batch


def _look_through(batch: IntakeBatch) -> None:
    first_row_of: dict[str, int] = {}
    with default_storage.open(batch.stored_name, "rb") as file:
        sheet = read_sheet(file, batch.file_name)
        _tell_progress(batch, done=0, of=sheet.row_count)
        done = 0
        while chunk := list(islice(sheet.rows, ROWS_AT_ONCE)):
            IntakeRow.objects.bulk_create(_judged(batch, chunk, first_row_of))
            done += len(chunk)
            _tell_progress(batch, done=done, of=max(sheet.row_count, done))
    if done == 0:
        raise Refused(
            "There is no home below the headings.",
            field="file",
            remedy="Fill in a row for each home and send it again.",
        )
    batch.state, batch.row_count, batch.rows_done = State.PREVIEW, done, done
    if sheet.unread_columns:
        batch.refusal = "Columns not read: " + ", ".join(sheet.unread_columns[:20]) + "."
    batch.save(update_fields=["state", "row_count", "rows_done", "refusal"])


def _tell_progress(batch: IntakeBatch, *, done: int, of: int) -> None:
    batch.rows_done, batch.row_count = done, of
    batch.save(update_fields=["rows_done", "row_count"])


def _judged(
    batch: IntakeBatch, chunk: list[tuple[int, dict[str, str]]], first_row_of: dict[str, int]
) -> list[IntakeRow]:
    """The rows of a chunk with what is wrong with each, or that it is known already."""
    known = Known(batch, [cells.get("reference", "") for _, cells in chunk])
    rows = []
    for number, cells in chunk:
        values, problems = read_values(cells)
        row = IntakeRow(batch=batch, number=number, values=cells, outcome=Outcome.GOOD)
        if values is not None:
            first = first_row_of.setdefault(values.reference, number)
            if first != number:
                problems = (_twice_in_file(first),)
            else:
                problems = known.problems(values)
                row.job = None if problems else known.job(values)
        if problems:
            row.outcome, row.problems = Outcome.BAD, [p.to_dict() for p in problems]
        elif row.job is not None:
            row.outcome = Outcome.KNOWN
        rows.append(row)
    return rows


def _twice_in_file(first: int) -> Problem:
    return Problem(
        "reference",
        f"Row {first} of this file has the same reference.",
        "Give each home a reference of its own, or take one of the rows out.",
    )


class Known:
    """The homes of a company among some references, and their live jobs under one scheme."""

    def __init__(self, batch: IntakeBatch, references: list[str]) -> None:
        wanted = {" ".join(reference.split()) for reference in references}
        self.homes: dict[str, Property] = {
            home.reference: home for home in batch.company.properties.filter(reference__in=wanted)
        }
        jobs = Job.objects.filter(scheme=batch.scheme, property__in=self.homes.values())
        self.jobs: dict[int, Job] = {
            job.property_id: job for job in jobs.exclude(stage=Stage.CALLED_OFF)
        }

    def home(self, values: PropertyValues) -> Property | None:
        return self.homes.get(values.reference)

    def job(self, values: PropertyValues) -> Job | None:
        home = self.home(values)
        return None if home is None else self.jobs.get(home.pk)

    def problems(self, values: PropertyValues) -> tuple[Problem, ...]:
        """What keeps the row from meaning the home that has its reference.

        A home that has its job may have been corrected since: its postcode alone is compared.
        """
        home = self.home(values)
        if home is None or same_home(home, values):
            return ()
        if home.postcode == values.postcode and self.job(values) is not None:
            return ()
        return (
            Problem(
                "reference",
                f"You already know this reference as {home.address}.",
                "Give this home a reference of its own, or correct its address.",
            ),
        )


# --- Importing


def begin_import(batch: IntakeBatch) -> None:
    """Claim a looked-through batch for import. Its rows that need no work count as done.

    Raises:
        Conflict: it is still being read, was refused, or is being imported already.
    """
    idle = batch.rows.exclude(outcome=Outcome.GOOD).count()
    claimed = IntakeBatch.objects.filter(pk=batch.pk, state=State.PREVIEW).update(
        state=State.IMPORTING, rows_done=idle
    )
    batch.refresh_from_db()
    if not claimed:
        raise Conflict(
            f"“{batch.file_name}” is at “{batch.get_state_display()}” and cannot be taken in now.",
            field="state",
            remedy="Open it to see what became of it.",
        )


def import_batch(batch: IntakeBatch) -> IntakeBatch:
    """Take in the good rows of a batch that `begin_import` claimed; bad ones stay as they are.

    Every chunk is a transaction of its own. Run again after a crash, it goes on where it was.
    """
    with _alone(batch.pk) as mine:
        batch.refresh_from_db()
        if not mine or batch.state != State.IMPORTING:
            return batch
        with pghistory.context(user=batch.sent_by_id, what=f"intake of {batch.file_name}"):
            while rows := list(batch.rows.filter(outcome=Outcome.GOOD)[:ROWS_AT_ONCE]):
                _take_in_chunk(batch, rows)
        batch.state, batch.finished_at = State.IMPORTED, timezone.now()
        batch.rows_done = batch.row_count
        batch.save(update_fields=["state", "finished_at", "rows_done"])
    return batch


def _take_in_chunk(batch: IntakeBatch, rows: list[IntakeRow]) -> None:
    """All rows at once; where the database refuses, one by one, so that only the bad stay out."""
    try:
        with refusals_explained():
            _take_in_together(batch, rows)
            _record(batch, rows)
    except Refused:
        for row in rows:
            _take_in_alone(batch, row)
        _record(batch, rows)


def _take_in_together(batch: IntakeBatch, rows: list[IntakeRow]) -> None:
    values_of = {row.pk: read_values(row.values)[0] for row in rows}
    known = Known(batch, [values.reference for values in values_of.values() if values])
    fresh: list[tuple[IntakeRow, PropertyValues, Property]] = []
    for row in rows:
        values = values_of[row.pk]
        if values is None or known.problems(values):
            raise Refused("A row is no longer good.")  # taken one by one, it says why
        row.job, row.outcome = known.job(values), Outcome.KNOWN
        if row.job is None:
            home = known.home(values)
            home = home or Property(company=batch.company, **values.of_property())
            fresh.append((row, values, home))
    Property.objects.bulk_create([home for _, _, home in fresh if home.pk is None])
    jobs = Job.objects.bulk_create(
        Job(company=batch.company, property=home, scheme=batch.scheme, due_on=values.due_on)
        for _, values, home in fresh
    )
    for (row, _, _), job in zip(fresh, jobs, strict=True):
        row.job, row.outcome = job, Outcome.IMPORTED


def _take_in_alone(batch: IntakeBatch, row: IntakeRow) -> None:
    values, problems = read_values(row.values)
    row.job = None
    if values is not None:
        known = Known(batch, [values.reference])
        problems, row.job = known.problems(values), known.job(values)
    if values is None or problems:
        row.outcome, row.problems = Outcome.BAD, [p.to_dict() for p in problems]
        return
    try:
        row.outcome = Outcome.KNOWN
        if row.job is None:
            row.job = take_in_property(batch.company, batch.scheme, values, batch.sent_by)
            row.outcome = Outcome.IMPORTED
    except Refused as refusal:
        problem = Problem(refusal.field, refusal.message, refusal.remedy)
        row.outcome, row.problems = Outcome.BAD, [problem.to_dict()]


def _record(batch: IntakeBatch, rows: list[IntakeRow]) -> None:
    IntakeRow.objects.bulk_update(rows, ["outcome", "job", "problems"])
    IntakeBatch.objects.filter(pk=batch.pk).update(rows_done=F("rows_done") + len(rows))


# --- What became of the rows


@dataclass(frozen=True, slots=True)
class Tally:
    """How many rows of a batch are good, to be mended, known already, taken in."""

    good: int
    bad: int
    known: int
    imported: int


def tally(batch: IntakeBatch) -> Tally:
    counts = dict(batch.rows.order_by().values_list("outcome").annotate(count=Count("pk")))
    return Tally(**{outcome.value: counts.get(outcome.value, 0) for outcome in Outcome})
