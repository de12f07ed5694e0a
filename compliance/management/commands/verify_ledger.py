"""`manage.py verify_ledger`: checks the whole ledger and names the first thing wrong."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from compliance.ledger.check import verify_ledger


class Command(BaseCommand):
    help = "Work every hash, root and signature of the ledger out again, and compare the facts."

    def handle(self, *args: Any, **options: Any) -> None:
        report = verify_ledger()
        for fault in report.faults:
            self.stderr.write(str(fault))
        if not report.sound:
            raise CommandError(str(report))
        self.stdout.write(str(report))
