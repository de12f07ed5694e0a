"""What became of jobs that were ended: a certificate each, right and once. Prints it as JSON.

python -m tests.faults.certified judge FILE_WITH_JOB_IDS_AND_KEYS
python -m tests.faults.certified wait FILE_WITH_JOB_IDS_AND_KEYS SECONDS
"""

from __future__ import annotations

import io
import json
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

READ_EACH = 10
"""Reading a PDF takes longer than drawing it; of so many one is read."""


def waiting(jobs: list[int]) -> list[int]:
    """Jobs that have no current certificate yet."""
    from compliance.models import Certificate

    done = Certificate.objects.current().filter(job__in=jobs).values_list("job_id", flat=True)
    return sorted(set(jobs) - set(done))


def wait(jobs: list[int], patience_s: float) -> list[int]:
    """Until each has its certificate, or none came for so long; the jobs that have none."""
    deadline, fewest = time.monotonic() + patience_s, len(jobs)
    while (left := waiting(jobs)) and time.monotonic() < deadline:
        if len(left) < fewest:  # it goes on, however slowly
            deadline, fewest = time.monotonic() + patience_s, len(left)
        time.sleep(0.1)
    return left


def doubled(jobs: list[int]) -> Iterator[str]:
    """More than one valid certificate of a job, or any two of one assessment."""
    from collections import Counter

    from compliance.models import Certificate

    rows = Certificate.objects.filter(job__in=jobs)
    for job, times in Counter(rows.current().values_list("job_id", flat=True)).items():
        if times > 1:
            yield f"job {job} has {times} valid certificates"
    for assessment, times in Counter(rows.values_list("assessment_id", flat=True)).items():
        if times > 1:
            yield f"assessment {assessment} has {times} certificates"


def wrong(jobs: list[int]) -> Iterator[str]:
    """A certificate whose PDF is not what its facts, its entry or its signature say."""
    from compliance.certificates.contents import contents_of
    from compliance.certificates.issue import make_again
    from compliance.certificates.storage import read_pdf
    from compliance.models import Certificate

    rows = Certificate.objects.filter(job__in=jobs).with_place().order_by("pk")
    for number, certificate in enumerate(rows):
        try:
            pdf = read_pdf(certificate.pdf_name)
        except FileNotFoundError:
            yield f"{certificate} has no file"
            continue
        facts = contents_of(certificate.assessment, certificate.code, certificate.issued_at)
        if facts.to_dict() != certificate.contents:
            yield f"{certificate} says other than its facts"
        if pdf != make_again(certificate):
            yield f"{certificate}: its file is not what its row says"
        if number % READ_EACH == 0:
            yield from printed_otherwise(certificate, pdf)


def printed_otherwise(certificate: Any, pdf: bytes) -> Iterator[str]:
    """What somebody else's software reads in the PDF."""
    from pypdf import PdfReader

    unsaid = {certificate.code, certificate.job.reference}
    for page in PdfReader(io.BytesIO(pdf)).pages:
        words = page.extract_text().replace("\n", " ")
        unsaid = {said for said in unsaid if said not in words}
        if not unsaid:
            return
    yield f"{certificate} does not print {sorted(unsaid)}"


def not_sealed(jobs: list[int]) -> Iterator[str]:
    """What the offline verifier says of a pack of these jobs, and the whole ledger's check."""
    from compliance.ledger.check import verify_ledger
    from compliance.ledger.seals import make_seal
    from compliance.packs.scope import PackScope
    from tests.compliance.pack_scene import check, files_of

    make_seal()
    report = check(files_of(PackScope(jobs, "Ended jobs")), most_faults=5)
    yield from (str(fault) for fault in report.faults)
    yield from (str(fault) for fault in verify_ledger().faults)


def forgotten(keys: dict[str, list[str]]) -> Iterator[str]:
    """Records that were acknowledged and are not there."""
    from jobs.models import DepthReading, Handover

    for model, name in ((DepthReading, "readings"), (Handover, "handovers")):
        there = model.objects.filter(client_key__in=keys[name]).count()
        if there != len(set(keys[name])):
            yield f"{len(set(keys[name])) - there} acknowledged {name} are lost"


def judge(told: dict[str, Any]) -> dict[str, Any]:
    jobs = told["jobs"]
    return {
        "lost": waiting(jobs),
        "doubled": list(doubled(jobs)),
        "wrong": list(wrong(jobs)),
        "forgotten": list(forgotten(told["keys"])),
        "not_sealed": list(not_sealed(jobs)),
    }


if __name__ == "__main__":
    told = json.loads(Path(sys.argv[2]).read_text())
    if sys.argv[1] == "judge":
        print(json.dumps(judge(told)))
    else:
        print(json.dumps(wait(told["jobs"], float(sys.argv[3]))))
