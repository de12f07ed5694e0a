"""The planning page on a large board: its size, its queries, and how long the server works on it.

Forty crews, ten working days, a thousand booked visits and three hundred that wait, in the
database of DATABASE_URL; everything is taken back at the end. Times are process time.

    python -m benchmarks.board_page
"""

from __future__ import annotations

import gzip
import os
import random
import re
import time
from collections.abc import Callable
from datetime import date, timedelta
from datetime import time as clock
from typing import Any

import django

CREWS, DAYS, VISITS, NEEDS = 40, 10, 1000, 300
TIMES = 5


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings.test")
    django.setup()
    from django.conf import settings
    from django.db import transaction

    settings.ALLOWED_HOSTS = ["*"]
    with transaction.atomic():
        planner, first = _fill()
        _measure(planner, first)
        transaction.set_rollback(True)


def _fill() -> tuple[Any, date]:
    """An invented company's board."""
    from django.utils import timezone

    from jobs.models import Company, Crew, Operative, Scheme, User, Van
    from jobs.planning.board_parts import first_working_day, working_days_from

    chance = random.Random(1)
    company = Company.objects.create(name="Board of a benchmark (invented)", slug="bench-board")
    scheme = Scheme.objects.create(name="Invented", code="bench", starts_on=date(2026, 1, 1))
    planner = User.objects.create(
        email="bench@example.test", role="planner", company=company, first_name="Bench"
    )
    first = first_working_day(timezone.localdate() + timedelta(days=7))
    days = [first] + [working_days_from(first, n) for n in range(1, DAYS)]
    crews = []
    for number in range(CREWS):
        van = Van.objects.create(company=company, name=f"Van {number}", load_volume_m3=11)
        crew = Crew.objects.create(
            company=company,
            name=f"Crew {number:02d}",
            van=van,
            base_latitude_deg=52.3 + chance.random(),
            base_longitude_deg=-1.9 + 1.4 * chance.random(),
        )
        for person in range(2):
            Operative.objects.create(
                company=company, crew=crew, name=f"{number} {person}", skills=["insulation"]
            )
        crews.append(crew)
    _book(company, scheme, planner, crews, days, chance)
    return planner, first


def _book(
    company: Any, scheme: Any, planner: Any, crews: list[Any], days: list[date], chance: Any
) -> None:
    from django.db.backends.postgresql.psycopg_any import DateTimeTZRange

    from jobs.models import Job, Property, Visit, VisitNeed
    from jobs.planning.calendars import at

    total = VISITS + NEEDS
    homes = Property.objects.bulk_create(
        Property(
            company=company,
            reference=f"B{n}",
            address_line_1=f"{n} Long Row",
            town="Sampleton",
            postcode="LE1 1AA",
            nation="england",
            latitude_deg=52.3 + chance.random(),
            longitude_deg=-1.9 + 1.4 * chance.random(),
        )
        for n in range(total)
    )
    jobs = Job.objects.bulk_create(
        Job(company=company, property=home, scheme=scheme, stage="to_plan") for home in homes
    )
    places = [(c, d, k) for d in days for c in crews for k in range(3)]
    visits = []
    for job, (crew, day, nth) in zip(jobs[:VISITS], places, strict=False):
        starts = at(day, clock(8 + 3 * nth))
        visits.append(
            Visit(
                company=company,
                job=job,
                kind="fitting",
                crew=crew,
                van=crew.van,
                during=DateTimeTZRange(starts, starts + timedelta(hours=2)),
                booked_by=planner,
            )
        )
    Visit.objects.bulk_create(visits)
    VisitNeed.objects.bulk_create(
        VisitNeed(company=company, job=job, kind="fitting", part_hours=[2.0])
        for job in jobs[VISITS:]
    )


def _measure(planner: Any, first: date) -> None:
    from django.test import Client

    from jobs.models import Crew, Visit

    client = Client()
    client.force_login(planner)
    shown = f"from={first}&days=10"
    crew = Crew.objects.filter(company=planner.company).last()
    visit = Visit.objects.filter(company=planner.company).first()
    page = client.get(f"/planning/?{shown}").content.decode()
    stamps = "&".join(f"stamp={one}" for one in re.findall(r'name="stamp" value="([^"]+)"', page))
    need = re.findall(r'name="need_stamp" value="([^"]+)"', page)[0]
    print(f"load average {os.getloadavg()[0]:.1f}")
    for what, url in (
        ("one day", f"/planning/?from={first}&days=1"),
        ("five days", f"/planning/?from={first}&days=5"),
        ("ten days", f"/planning/?{shown}"),
        ("a crew's row", f"/planning/crews/{crew.pk}/?{shown}"),
        ("no news", f"/planning/news/?{shown}&{stamps}&need_stamp={need}"),
        ("all places of a visit", f"/planning/places/?visit={visit.pk}&{shown}"),
        (
            "whether it fits",
            f"/planning/fit/?visit={visit.pk}&crew={crew.pk}&starts_at={first}T15:00&{shown}",
        ),
        ("its sheet", f"/planning/visits/{visit.pk}/?{shown}"),
    ):
        _report(what, lambda url=url: client.get(url))


def _report(what: str, ask: Callable[[], Any]) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as queries:
        begun = time.process_time()
        answer = ask()
        at_first = time.process_time() - begun
    count = len(queries)  # the next request forgets them
    begun = time.process_time()
    for _ in range(TIMES):
        ask()
    each = (time.process_time() - begun) / TIMES
    size, packed = len(answer.content) / 1000, len(gzip.compress(answer.content)) / 1000
    print(
        f"{what:22} {answer.status_code} {size:5.0f} kB, {packed:3.0f} kB packed, "
        f"{count:2} queries, {1000 * at_first:5.0f} ms at first, {1000 * each:4.0f} ms each"
    )


if __name__ == "__main__":
    main()
