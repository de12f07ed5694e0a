"""How fast certificates are drawn and signed, on one core.

    python -m benchmarks.certificates [how many]

Needs a database with at least one certificate, such as the demo's: its contents are drawn
again with another code and depth each time, so that nothing is cached between two.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

import django


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
    from compliance.certificates.code import new_code
    from compliance.certificates.contents import Contents, contents_from_dict
    from compliance.certificates.issue import make_pdf
    from compliance.certificates.pdf import draw_pdf
    from compliance.certificates.signing import sign_pdf
    from compliance.models import Certificate

    stored = Certificate.objects.first()
    if stored is None:
        sys.exit("There is no certificate in this database. Load the demo first.")
    contents = contents_from_dict(stored.contents)
    at = datetime.fromisoformat(contents.issued_at)
    plain = draw_pdf(contents)

    def another(i: int) -> Contents:
        return replace(contents, code=new_code(), mean_depth_mm=contents.mean_depth_mm + i / 10)

    print(f"{count} certificates, {len(plain) / 1000:.0f} kB each before signing")
    measure("drawn", count, lambda i: draw_pdf(another(i)))
    measure("signed", count, lambda i: sign_pdf(plain, at))
    measure("drawn and signed", count, lambda i: make_pdf(another(i)))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
