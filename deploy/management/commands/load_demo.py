"""Load the demo scenario into a database that holds no company yet."""

from __future__ import annotations

import time
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from deploy.demo.load import load_demo
from jobs.models import Company


class Command(BaseCommand):
    help = "Load an invented company with ten weeks of work. Refused where a company exists."

    def handle(self, *args: Any, **options: Any) -> None:
        if Company.objects.exists():
            raise CommandError(
                "There is a company in this database already. The demo goes into an empty one."
            )
        begun = time.monotonic()

        def tell(what: str) -> None:
            self.stdout.write(f"  {time.monotonic() - begun:5.1f} s  {what}")
            self.stdout.flush()

        load_demo(tell)
        tell("done")
