"""`manage.py export_pack OUT`: an evidence pack of jobs, or of the whole ledger."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from compliance.audits.pack import round_scope
from compliance.models import AuditRound
from compliance.packs.export import export_to_folder, zip_chunks
from compliance.packs.scope import PackScope, audit_kinds, personal_columns
from jobs.errors import Refused
from jobs.models import Job


class Command(BaseCommand):
    help = "Write an evidence pack: a zip when OUT ends in .zip, else a folder."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("out", type=Path)
        which = parser.add_mutually_exclusive_group(required=True)
        which.add_argument("--job", type=int, action="append", help="number of a job; repeatable")
        which.add_argument("--company", help="slug of a company: all its jobs")
        which.add_argument("--scheme", help="code of a scheme: all its jobs")
        which.add_argument(
            "--round", type=int, help="number of an audit round: its drawn jobs, as its auditor"
        )
        which.add_argument(
            "--everything", action="store_true", help="the whole ledger, which has no gap"
        )
        parser.add_argument("--without-photos", action="store_true")
        parser.add_argument(
            "--without-personal-data",
            action="store_true",
            help="withhold names, signatures and places, of which the hashes stay",
        )
        parser.add_argument(
            "--seal", type=int, action="append", default=[], help="id of a Seal it must hold"
        )

    def handle(self, *args: Any, out: Path, **options: Any) -> None:
        scope = self._scope(options)
        if out.exists():
            raise CommandError(f"{out} is there already. Choose another name.")
        if out.suffix == ".zip":
            with out.open("xb") as file:
                for chunk in zip_chunks(scope):
                    file.write(chunk)
        else:
            export_to_folder(scope, out)
        self.stdout.write(
            f"{out}: {scope.title}. Check it with: python -m compliance.verify {out} --key FILE"
        )

    def _scope(self, options: dict[str, Any]) -> PackScope:
        if options["round"]:
            return self._round(options["round"], without_photos=options["without_photos"])
        jobs, title = self._jobs(options)
        return PackScope(
            jobs,
            title,
            personal_columns() if options["without_personal_data"] else frozenset(),
            frozenset({"photos"} if options["without_photos"] else ()),
            frozenset() if jobs is None else audit_kinds(),
            tuple(options["seal"]),
        )

    def _round(self, number: int, *, without_photos: bool) -> PackScope:
        record = AuditRound.objects.select_related("auditor", "scheme").filter(pk=number).first()
        if record is None:
            raise CommandError(f"There is no audit round {number}.")
        try:
            return round_scope(record, record.auditor, without_photos=without_photos)
        except Refused as refusal:
            raise CommandError(str(refusal)) from refusal

    def _jobs(self, options: dict[str, Any]) -> tuple[list[int] | None, str]:
        if options["everything"]:
            return None, "The whole ledger"
        if options["job"]:
            found, title = Job.objects.filter(pk__in=options["job"]), "Jobs by number"
        elif options["company"]:
            found = Job.objects.filter(company__slug=options["company"])
            title = f"All jobs of company {options['company']}"
        else:
            found = Job.objects.filter(scheme__code=options["scheme"])
            title = f"All jobs of scheme {options['scheme']}"
        ids = list(found.order_by("pk").values_list("pk", flat=True))
        if not ids:
            raise CommandError("There is no such job.")
        return ids, title
