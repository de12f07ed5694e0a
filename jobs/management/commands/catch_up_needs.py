"""`manage.py catch_up_needs`: make what visits the jobs need, where that was not done before."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from jobs.planning.needs import catch_up_needs

AT_ONCE = 2000


class Command(BaseCommand):
    help = "Makes, refreshes and withdraws what visits the jobs need. The beat does it too."

    def handle(self, *args: Any, **options: Any) -> None:
        count = found = catch_up_needs(most=AT_ONCE)
        while found == AT_ONCE:
            found = catch_up_needs(most=AT_ONCE)
            count += found
        self.stdout.write(f"{count} job{'' if count == 1 else 's'} brought into step")
