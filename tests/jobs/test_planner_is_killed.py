"""The planner's process is killed in the midst of a run: no half plan, and another goes on."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from django.utils import timezone

from deploy.celery import READY_FILE_VARIABLE
from deploy.celery import app as celery_app
from jobs.models import PlanRun, ProposedVisit
from jobs.planning import runs
from jobs.planning.proposals import summary_of
from jobs.planning.tasks import mind_plan_runs
from tests.conftest import end, url_of_test_database, wait_until_ready
from tests.jobs.plan_scene import a_day_ahead, asked, based_crew, to_fit
from tests.jobs.planner_scene import an_office

pytestmark = pytest.mark.faults

PATIENCE_S = 120.0
StartPlanner = Callable[[], "subprocess.Popen[bytes]"]


@pytest.fixture
def start_planner(transactional_db: None, settings, tmp_path: Path) -> Iterator[StartPlanner]:
    """Starts planner processes as `deploy/up` does, on the test's own database."""
    started: list[subprocess.Popen[bytes]] = []
    with celery_app.connection_for_write() as broker:
        channel = broker.default_channel
        for queue in ("planning", celery_app.conf.task_default_queue):
            channel.queue_declare(queue)
            channel.queue_purge(queue)

    def start() -> subprocess.Popen[bytes]:
        number = len(started)
        ready, log = tmp_path / f"{number}.ready", tmp_path / f"{number}.log"
        command = [sys.executable, "-m", "celery", "-A", "deploy", "worker", "--pool", "solo"]
        command += ["--queues", "planning", "--hostname", f"planner{number}@%h"]
        command += ["--loglevel", "INFO", "--without-gossip", "--without-mingle"]
        environment = {
            **os.environ,
            "DATABASE_URL": url_of_test_database(),
            "EAVESBOOK_TEST_EAGER": "0",
            "EAVESBOOK_TEST_FOLDER": str(settings.TEST_FOLDER),
            READY_FILE_VARIABLE: str(ready),
        }
        with log.open("wb") as stream:
            process = subprocess.Popen(command, env=environment, stdout=stream, stderr=stream)
        started.append(process)
        wait_until_ready(process, ready, log)
        return process

    celery_app.conf.task_always_eager = False
    try:
        yield start
    finally:
        celery_app.conf.task_always_eager = settings.CELERY_TASK_ALWAYS_EAGER
        for process in started:
            end(process)


def wait_for(run: PlanRun, true: Callable[[PlanRun], bool]) -> PlanRun:
    deadline = time.monotonic() + PATIENCE_S
    while True:
        run.refresh_from_db()
        if true(run):
            return run
        if time.monotonic() > deadline:
            pytest.fail(f"the run stays at {run.state}: {run.progress} {run.failure}")
        time.sleep(0.1)


def test_a_killed_planner_leaves_no_half_plan_and_another_goes_on(start_planner):
    office = an_office()
    day = a_day_ahead(based_crew(office))
    for number in range(6):
        to_fit(office, number)
    first = start_planner()
    run = asked(office, day, days=10, seconds=60)
    run = wait_for(run, lambda run: bool(run.best))

    first.kill()
    first.wait()

    run.refresh_from_db()
    assert (run.state, ProposedVisit.objects.count()) == ("running", 0)

    # Silent for long enough, it is found by what the beat sends every minute.
    long_ago = timezone.now() - timedelta(seconds=runs.SILENT_S + 1)
    PlanRun.objects.filter(pk=run.pk).update(heartbeat_at=long_ago)
    start_planner()
    mind_plan_runs()
    run = wait_for(run, lambda run: run.state == "running" and run.attempts == 2)
    runs.stop_run(run, office.planner)
    run = wait_for(run, lambda run: not run.is_under_way)

    assert (run.state, run.attempts) == ("ready", 2)
    assert summary_of(run).new == 6
