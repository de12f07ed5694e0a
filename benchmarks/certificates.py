"""How fast certificates are drawn and signed, on one core.

    python -m benchmarks.certificates [how many]

Needs a database with certificates, such as the demo's: their contents are drawn again with another
code and depth each time and the photos of another loft, so that nothing is cached between two. A
second figure is of the whole way: evidence gathered, PDF stored for good, row and ledger entry.
That one withdraws and issues again what is stored, in a transaction that is rolled back.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

import django

MOST_STORED = 200


def measure(what: str, count: int, act: Callable[[int], object]) -> None:
    act(0)
    start, busy = time.perf_counter(), time.process_time()
    for i in range(1, count + 1):
        act(i)
    each, cpu = (time.perf_counter() - start) / count, (time.process_time() - busy) / count
    print(
        f"{what:<20}{1 / cpu:8.1f} a second of one core {cpu * 1000:8.1f} ms of processor, "
        f"{each * 1000:8.1f} ms by the clock"
    )


def main(count: int) -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings.embedded")
    django.setup()
    from django.db import transaction

    from compliance.certificates.code import new_code
    from compliance.certificates.contents import Contents, contents_from_dict
    from compliance.certificates.issue import make_pdf
    from compliance.certificates.pdf import draw_pdf
    from compliance.certificates.signing import sign_pdf
    from compliance.models import Certificate

    rows = Certificate.objects.order_by("-pk").values_list("contents", flat=True)[:MOST_STORED]
    stored = [contents_from_dict(row) for row in rows if row.get("photos_shown")]
    if not stored:
        sys.exit("No certificate with photos is in this database. Load the demo first.")
    at = datetime.fromisoformat(stored[0].issued_at)
    plain = draw_pdf(stored[0])

    def another(i: int) -> Contents:
        contents = stored[i % len(stored)]
        return replace(contents, code=new_code(), mean_depth_mm=contents.mean_depth_mm + i / 10)

    photos = sum(len(contents.photos_shown) for contents in stored) / len(stored)
    print(f"each with its annex and {photos:.1f} small photos, of {len(stored)} lofts in turn")
    print(f"{count} certificates, {len(plain) / 1000:.0f} kB each before signing")
    measure("drawn", count, lambda i: draw_pdf(another(i)))
    measure("signed", count, lambda i: sign_pdf(plain, at))
    measure("drawn and signed", count, lambda i: make_pdf(another(i)))
    jobs = list(Certificate.objects.current().values_list("job_id", flat=True)[: count + 1])
    if len(jobs) > count:
        with transaction.atomic():
            measure("issued, all of it", count, lambda i: issue_again(jobs[i]))
            transaction.set_rollback(True)


def issue_again(job_id: int) -> None:
    from compliance.certificates.issue import issue_certificate
    from compliance.certificates.withdraw import withdraw_current
    from jobs.models import Job

    withdraw_current(Job.objects.get(pk=job_id), "measured again")
    issue_certificate(job_id)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
