"""Take in a spreadsheet of homes from the command line."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from jobs.errors import Refused
from jobs.intake import batches
from jobs.intake.files import rejected_rows_file
from jobs.models import Company, IntakeBatch, IntakeRow, Role, Scheme, User


class Command(BaseCommand):
    help = "Take in the good rows of a CSV or XLSX file; write the others to a file to be mended."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--company", required=True, help="slug of the company")
        parser.add_argument("--scheme", required=True, help="code of the scheme")
        parser.add_argument("--by", help="e-mail of the planner it is done for; default: the first")
        parser.add_argument("--preview", action="store_true", help="only say what would be done")
        parser.add_argument("--rejected", type=Path, help="where rows to mend go (.csv or .xlsx)")

    def handle(self, *args: Any, file: Path, preview: bool, **options: Any) -> None:
        company = _one(Company, "--company", slug=options["company"])
        scheme = _one(Scheme, "--scheme", code=options["scheme"])
        by = _planner(company, options["by"])
        try:
            with file.open("rb") as opened:
                batch = batches.receive_file(company, scheme, opened, file.name, by)
        except (OSError, Refused) as error:
            raise CommandError(f"{file}: {error}") from error
        batches.preview(batch)
        if batch.state == IntakeBatch.State.REFUSED:
            raise CommandError(f"{file}: {batch.refusal}")
        self._tell_problems(batch)
        if not preview:
            batches.begin_import(batch)
            batches.import_batch(batch)
        self._tell_outcome(batch)
        if target := options["rejected"]:
            target.write_bytes(rejected_rows_file(batch, target.suffix.lstrip(".").lower()))
            self.stdout.write(f"Rows to mend: {target}")

    def _tell_problems(self, batch: IntakeBatch) -> None:
        for row in batch.rows.filter(outcome=IntakeRow.Outcome.BAD).iterator():
            for problem in row.problems:
                self.stdout.write(
                    f"row {row.number}, {problem['field']}: "
                    f"{problem['message']} {problem['remedy']}".rstrip()
                )

    def _tell_outcome(self, batch: IntakeBatch) -> None:
        count = batches.tally(batch)
        self.stdout.write(
            f"{batch.row_count} rows: {count.imported} taken in, {count.good} good, "
            f"{count.known} known already, {count.bad} to mend."
        )
        if batch.refusal:
            self.stdout.write(batch.refusal)


def _one(model: Any, option: str, **lookup: str) -> Any:
    found = model.objects.filter(**lookup).first()
    if found is None:
        [(name, value)] = lookup.items()
        known = ", ".join(model.objects.values_list(name, flat=True)[:10]) or "none yet"
        raise CommandError(f"{option}: there is no “{value}”. Known: {known}.")
    return found


def _planner(company: Company, email: str | None) -> User:
    planners = User.objects.filter(company=company, role=Role.PLANNER, is_active=True)
    planner = (planners.filter(email__iexact=email) if email else planners.order_by("pk")).first()
    if planner is None:
        raise CommandError("--by: name a planner of the company by e-mail address.")
    return planner
