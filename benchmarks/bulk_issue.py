"""Issuing the certificates of thousands of jobs: end to end, through broker, worker and database.

    python -m benchmarks.bulk_issue [jobs] [--processes N]

Makes a database and a store of its own beside those of DATABASE_URL: one true loft with its layer
plan and inspected photos, and the others copied from it row by row, so that every fact enters the
ledger by its trigger. Then a run over all of them, as from its page, with a Celery worker of N
processes. On the way the worker is killed (SIGKILL, all of its processes) and started again, and
the run is stopped and gone on with. Told are certificates a second by the clock and of one core's
processor time, memory of the worker's processes, queries of an early and of a late piece, and the
queries and bytes of the pages that are watched meanwhile.

What a killed process had in hand is taken again after some minutes; these minutes are not waited
for but written into the rows.
"""

from __future__ import annotations

import argparse
import io
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any

import psutil

from benchmarks.own_database import own_database

NAME = "eavesbook_bulk_issue"
BATCH = 500
PICTURES = 40
READY_SECONDS = 120


def make_jobs(count: int) -> Any:
    """Jobs that meet their rule and have no certificate; returns the officer of their company."""
    from benchmarks.audit_pack_world import judged_copies, like
    from compliance.assess import assess_job
    from jobs.evidence.content_store import keep
    from jobs.evidence.inspection import inspect
    from jobs.models import LayerPlan, Photo, PhotoInspection, Survey
    from jobs.surveying.quantities import make_layer_plan
    from tests.compliance.scene import fitted
    from tests.factories import PhotoFactory
    from tests.pictures import loft_jpeg

    kept = [
        keep(io.BytesIO(loft_jpeg(n)), "photos", limit_bytes=9_000_000) for n in range(PICTURES)
    ]
    turn = iter(range(4))

    def photographed(**fields: Any) -> Photo:
        one = kept[next(turn)]
        stored = {"sha256": one.sha256, "size_bytes": one.size_bytes, "original_name": one.name}
        photo: Photo = PhotoFactory(**stored, **fields)
        inspect(photo)
        return photo

    def picture(number: int, nth: int) -> tuple[str, str, int]:
        one = kept[(4 * number + nth) % PICTURES]
        return one.name, one.sha256, one.size_bytes

    scene = fitted(photo=photographed)
    plan = make_layer_plan(scene.job, seconds=1)
    verdict = assess_job(scene.job.pk)
    assert verdict.verdict == "meets", verdict.missing
    pictures = {
        one.sha256: inspect(PhotoFactory(sha256=one.sha256, original_name=one.name)) for one in kept
    }
    for start in range(1, count, BATCH):
        numbers = range(start, min(start + BATCH, count))
        made = judged_copies(scene, verdict, numbers, 4, picture)
        jobs = [one.job_id for one in made]
        surveys = Survey.objects.filter(job__in=jobs)
        LayerPlan.objects.bulk_create(
            like(plan, job_id=survey.job_id, survey_id=survey.pk) for survey in surveys
        )
        PhotoInspection.objects.bulk_create(
            like(pictures[photo.sha256], photo_id=photo.pk)
            for photo in Photo.objects.filter(job__in=jobs)
        )
    return scene.person("compliance_officer")


class Worker:
    """A Celery worker on the benchmark's database. processor_s: of all its processes, dead too."""

    def __init__(self, processes: int, folder: Path) -> None:
        self.processes, self.folder = processes, folder
        self.spent: dict[int, float] = {}
        self.start()

    def start(self) -> None:
        from deploy.celery import READY_FILE_VARIABLE

        ready = self.folder / f"ready-{time.monotonic_ns()}"
        command = [sys.executable, "-m", "celery", "-A", "deploy", "worker", "--loglevel", "INFO"]
        command += ["--concurrency", str(self.processes), "--without-gossip", "--without-mingle"]
        with (self.folder / "worker.log").open("ab") as log:
            process = subprocess.Popen(
                command,
                env=os.environ | {"EAVESBOOK_TEST_EAGER": "0", READY_FILE_VARIABLE: str(ready)},
                stdout=log,
                stderr=log,
            )
        self.root = psutil.Process(process.pid)
        self.process = process
        for _ in range(READY_SECONDS * 10):
            if ready.exists():
                return
            time.sleep(0.1)
        sys.exit(f"The worker did not start: {(self.folder / 'worker.log').read_text()[-2000:]}")

    def tree(self) -> list[psutil.Process]:
        return [self.root, *self.root.children(recursive=True)]

    def look(self) -> tuple[float, float]:
        """Memory of its largest process [MB], and processor time of all so far [s]."""
        largest = 0.0
        for process in self.tree():
            try:
                times = process.cpu_times()
                self.spent[process.pid] = times.user + times.system
                largest = max(largest, process.memory_info().rss / 1e6)
            except psutil.NoSuchProcess:
                continue
        return largest, sum(self.spent.values())

    def kill(self) -> None:
        for process in self.tree():
            process.kill()
        self.process.wait()

    def end(self) -> None:
        self.process.terminate()
        self.process.wait()


@contextmanager
def page_of(officer: Any) -> Iterator[Any]:
    from django.test import Client

    client = Client(headers={"host": "localhost"})
    client.force_login(officer)
    yield client


def tell_pages(officer: Any, run: Any, when: str) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    addresses = {
        "runs": "/proof/certificates/issue-runs/",
        "run": f"/proof/certificates/issue-runs/{run.pk}/",
        "progress": f"/proof/certificates/issue-runs/{run.pk}/progress/",
        "certificates": "/proof/certificates/",
    }
    with page_of(officer) as client:
        for name, address in addresses.items():
            with CaptureQueriesContext(connection) as asked:
                begun = time.perf_counter()
                answer = client.get(address)
                took = time.perf_counter() - begun
            print(
                f"  page {name:<13} {when:<9} {answer.status_code} {len(asked):3} queries "
                f"{len(answer.content) / 1000:7.1f} kB {took * 1000:7.0f} ms"
            )


def queries_of_a_piece(run: Any) -> int:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from compliance.issue_runs import move_on

    with CaptureQueriesContext(connection) as asked:
        move_on(run.pk)
    return len(asked)


def watch(run: Any, worker: Worker, until: int) -> None:
    """Look at the run each second until so many are done, or it has ended."""
    from compliance.issue_runs import counts_of

    told = time.monotonic()
    while True:
        time.sleep(0.5)
        run.refresh_from_db()
        done = counts_of(run)["done"]
        memory, _ = worker.look()
        if time.monotonic() - told > 10 or done >= until or run.ended_at:
            told = time.monotonic()
            print(f"  {done:6,} done, largest process {memory:5.0f} MB")
        if done >= until or run.ended_at:
            return


def send(run: Any) -> None:
    from compliance.pages.issue_runs import send_on
    from deploy.celery import app

    app.conf.task_always_eager = False
    send_on(run)


def pretend_minutes_passed(run: Any) -> None:
    from compliance.issue_runs import IN_HAND
    from compliance.models import IssueRun, IssueRunJob
    from compliance.tasks import look_after_issue_runs

    earlier = timedelta(seconds=IN_HAND.total_seconds() + 1)
    IssueRun.objects.filter(pk=run.pk).update(moved_at=run.moved_at - earlier)
    for row in IssueRunJob.objects.waiting().filter(run=run, taken_at__isnull=False):
        IssueRunJob.objects.filter(pk=row.pk).update(taken_at=row.taken_at - earlier)
    print(f"  the beat took up {look_after_issue_runs()} run")


def main(count: int, processes: int) -> None:
    with own_database(NAME), tempfile.TemporaryDirectory() as logs:
        from django.core import mail

        from compliance.issue_runs import begin_issue_run, counts_of, go_on, stop_run
        from compliance.models import Certificate

        begun = time.perf_counter()
        officer = make_jobs(count)
        print(f"{count:,} jobs made in {time.perf_counter() - begun:.0f} s")
        run = begin_issue_run(officer)
        print(f"queries of the first piece: {queries_of_a_piece(run)}")
        tell_pages(officer, run, "at first")
        worker = Worker(processes, Path(logs))
        _, idle = worker.look()
        first, begun = counts_of(run)["done"], time.perf_counter()
        send(run)
        watch(run, worker, count * 6 // 10)
        took = time.perf_counter() - begun
        done, (_, spent) = counts_of(run)["done"] - first, worker.look()
        print(
            f"{done:,} certificates in {took:.0f} s: {done / took:.1f} a second by the clock "
            f"({processes} processes), {done / (spent - idle):.1f} a second of one core of the "
            "worker"
        )
        tell_pages(officer, run, "meanwhile")
        worker.kill()
        print("worker killed")
        worker.start()
        pretend_minutes_passed(run)
        watch(run, worker, count * 8 // 10)
        stop_run(run)
        watch(run, worker, count)
        print(f"stopped at {counts_of(run)['done']:,}; gone on with")
        go_on(run)
        print(f"queries of a late piece: {queries_of_a_piece(run)}")
        send(run)
        watch(run, worker, count)
        worker.end()
        run.refresh_from_db()
        jobs = Certificate.objects.values("job").distinct().count()
        print(
            f"in the end {dict(counts_of(run))}, {Certificate.objects.count():,} certificates "
            f"of {jobs:,} jobs, {len(getattr(mail, 'outbox', []))} mails"
        )
        tell_pages(officer, run, "at last")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("jobs", type=int, nargs="?", default=2000)
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    arguments = parser.parse_args()
    main(arguments.jobs, arguments.processes)
