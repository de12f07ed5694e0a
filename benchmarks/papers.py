"""How fast a crew's papers and calendar are made, on one core, from the database to the bytes.

    python -m benchmarks.papers [how many]

Needs a database with booked visits, such as the demo's. Processor time is of this process; the
database's own is in the time by the clock.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from datetime import timedelta

import django


def measure(what: str, count: int, act: Callable[[int], bytes]) -> None:
    size = len(act(0))
    start, busy = time.perf_counter(), time.process_time()
    for i in range(1, count + 1):
        act(i)
    each, cpu = (time.perf_counter() - start) / count, (time.process_time() - busy) / count
    print(
        f"{what:<22}{size / 1000:8.0f} kB {cpu * 1000:8.1f} ms of processor, "
        f"{each * 1000:8.1f} ms by the clock, {1 / cpu:7.1f} a second of one core"
    )


def main(count: int) -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings.embedded")
    django.setup()
    from django.utils import timezone

    from jobs.loading.load_list import load_list_of_day
    from jobs.loading.load_list_paper import load_list_pdf
    from jobs.loading.standing import standing_of
    from jobs.models import Crew, Depot, Visit
    from jobs.rounds.calendar import crew_calendar
    from jobs.rounds.round_paper import round_sheet_pdf
    from jobs.rounds.round_sheet import round_sheet_for

    visits = Visit.objects.live().filter(kind="fitting", during__startswith__gte=timezone.now())
    first = visits.order_by("during").first()
    if first is None:
        sys.exit("No fitting visit is booked in this database. Load the demo first.")
    crew = Crew.objects.select_related("company", "depot", "van").get(pk=first.crew_id)
    day, by, now = timezone.localdate(first.during.lower), first.booked_by, timezone.now()

    def moment(i: int) -> object:
        return now + timedelta(minutes=i)  # so that no two papers are the same

    def depots(i: int) -> bytes:
        found = [standing_of(depot, timezone.localdate()) for depot in Depot.objects.all()]
        return repr([standing.warnings for standing in found]).encode()

    load, round_sheet = load_list_of_day(crew, day), round_sheet_for(by, crew, day)
    print(
        f"{count} times each; {crew} on {day}: {len(load.visits)} visits, {len(load.loads)} loads"
    )
    measure("load list, worked out", count, lambda i: repr(load_list_of_day(crew, day)).encode())
    measure("load list, PDF", count, lambda i: load_list_pdf(load, made_at=moment(i)))
    measure("round, worked out", count, lambda i: repr(round_sheet_for(by, crew, day)).encode())
    measure("round, PDF", count, lambda i: round_sheet_pdf(round_sheet, made_at=moment(i)))
    measure("calendar of a crew", count, lambda i: crew_calendar(crew))
    measure("every depot, 3 weeks", count, depots)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 30)
