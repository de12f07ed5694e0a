"""A thousand attempts at once to book what is booked: by SQL, by booking, by accepting a plan."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from itertools import cycle
from threading import Barrier

import psycopg
import pytest
from django.db import OperationalError, connection
from django.utils import timezone

from jobs.errors import Conflict, Refused
from jobs.models import Crew, PlanRun, ProposedVisit, Stage, Van, Visit, VisitOperative
from jobs.planning.answering import accept
from jobs.planning.booking import move_visit
from jobs.planning.needs import keep_needs_in_step, need_for
from tests.conftest import url_of_test_database
from tests.jobs.planner_scene import Office, an_office, at

pytestmark = pytest.mark.django_db(transaction=True)

THREADS = 20
BY_SQL, BY_SQL_DEFERRED, BY_BOOKING, BY_MOVING, BY_PLAN = 500, 250, 120, 80, 50
TAKEN_HOURS = 14.0
QUARTER_HOURS = [n / 4 for n in range(int(TAKEN_HOURS * 4))]
MINUTES = [n / 60 for n in range(int(TAKEN_HOURS * 60))]

INSERT = """
    INSERT INTO jobs_visit (company_id, job_id, kind, status, crew_id, van_id, during, part, held,
        note, stop_reason, booked_by_id, booked_at, version)
    VALUES (%s, %s, 'fitting', 'booked', %s, %s, tstzrange(%s, %s), 1, false, '', '', %s, now(), 1)
"""
DOUBLE_BOOKED = """
    SELECT count(*) FROM jobs_visit a JOIN jobs_visit b ON a.id < b.id AND a.during && b.during
        AND (a.crew_id = b.crew_id OR a.van_id = b.van_id)
    WHERE a.status <> 'cancelled' AND b.status <> 'cancelled'
"""
OPERATIVES_DOUBLE_BOOKED = """
    SELECT count(*) FROM jobs_visitoperative a JOIN jobs_visitoperative b
        ON a.id < b.id AND a.operative_id = b.operative_id AND a.during && b.during
    WHERE a.live AND b.live
"""


def shared_out(attempts: list[Callable[[], bool]]) -> list[bool]:
    """Every thread begins together and makes its share of the attempts, one after another."""
    start = Barrier(THREADS)

    def work(number: int) -> list[bool]:
        start.wait(timeout=60)
        try:
            return [attempt() for attempt in attempts[number::THREADS]]
        finally:
            connection.close()

    with ThreadPoolExecutor(THREADS) as pool:
        return [accepted for share in pool.map(work, range(THREADS)) for accepted in share]


def accepted_by(act: Callable[[], object]) -> bool:
    """Refused in words, or, against raw SQL that takes no turns, by the database's deadlock."""
    try:
        act()
    except Refused:
        return False
    except OperationalError as error:
        assert isinstance(error.__cause__, psycopg.errors.DeadlockDetected)
        return False
    return True


class Attempts:
    """Ways to book a crew, a van and an operative at a time at which they are taken, or free."""

    def __init__(self, office: Office, crew: Crew, van: Van) -> None:
        self.office, self.crew, self.van = office, crew, van
        self.job = office.job(Stage.TO_PLAN)

    def by_sql(self, begins: float, *, hours: float, deferred: bool) -> Callable[[], bool]:
        """Straight into the table, as no program of ours would: only the constraints stand by."""
        times = [at(begins), at(begins + hours)]
        values = [self.job.company_id, self.job.pk, self.crew.pk, self.van.pk, *times]

        def act() -> bool:
            with psycopg.connect(url_of_test_database()) as own:
                try:
                    if deferred:
                        own.execute("SET CONSTRAINTS ALL DEFERRED")
                    own.execute(INSERT, [*values, self.office.planner.pk])
                    own.commit()
                except (psycopg.errors.ExclusionViolation, psycopg.errors.DeadlockDetected):
                    own.rollback()
                    return False
            return True

        return act

    def by_booking(self, begins: float) -> Callable[[], bool]:
        job = self.office.job(Stage.TO_PLAN)
        return lambda: accepted_by(
            lambda: self.office.booked(
                job, self.crew, van=self.van, starts_at=at(begins), hours=2.0
            )
        )

    def by_moving(self, mine: Visit, begins: float) -> Callable[[], bool]:
        return lambda: accepted_by(
            lambda: move_visit(
                mine,
                by=self.office.planner,
                version=mine.version,
                crew=self.crew,
                van=self.van,
                starts_at=at(begins),
            )
        )

    def by_plan(self, begins: float) -> Callable[[], bool]:
        line = a_proposal(self.office, self.crew, self.van, begins)
        return lambda: accepted_by(lambda: self._accepted(line))

    def _accepted(self, line: ProposedVisit) -> None:
        """A line that is refused tells why and leaves everything as it was."""
        answered = accept(line.run, self.office.planner)
        if not answered.done:
            raise Refused(answered.refused[0].answer_words)


def a_proposal(office: Office, crew: Crew, van: Van, begins: float) -> ProposedVisit:
    job = office.job(Stage.TO_PLAN)
    keep_needs_in_step(job)
    need = need_for(job, "fitting")
    run = PlanRun.objects.create(
        company=office.company,
        first_day=timezone.localdate(),
        from_moment=timezone.now(),
        state="ready",
        asked_by=office.planner,
    )
    return ProposedVisit.objects.create(
        run=run,
        need=need,
        change="new",
        crew=crew,
        van=van,
        during=(at(begins), at(begins + 2)),
        need_version=need.version,
    )


def test_none_of_a_thousand_attempts_at_once_double_books():
    office = an_office()
    van, other = office.van(), office.crew()
    crew = office.crew(van=van)
    taken = office.booked(crew=crew, van=van, hours=TAKEN_HOURS)
    elsewhere = [office.booked(crew=other, starts_at=at(24 * day)) for day in range(2, 22)]
    tries = Attempts(office, crew, van)
    minutes, quarters, mine = cycle(MINUTES), cycle(QUARTER_HOURS), cycle(elsewhere)
    attempts = [
        tries.by_sql(next(minutes), hours=1 / 60, deferred=number >= BY_SQL)
        for number in range(BY_SQL + BY_SQL_DEFERRED)
    ]
    attempts += [tries.by_booking(next(quarters)) for _ in range(BY_BOOKING)]
    attempts += [tries.by_moving(next(mine), next(quarters)) for _ in range(BY_MOVING)]
    attempts += [tries.by_plan(next(quarters)) for _ in range(BY_PLAN)]

    accepted = shared_out(attempts)

    assert (len(accepted), sum(accepted)) == (1000, 0)
    assert Visit.objects.live().filter(crew=crew).get() == taken
    assert Visit.objects.live().count() == 1 + len(elsewhere)
    assert VisitOperative.objects.filter(operative__crew=crew).count() == 1


def test_of_many_attempts_at_once_at_a_free_time_one_is_taken_for_each():
    office = an_office()
    van = office.van()
    crew = office.crew(van=van)
    free = [24.0 * day for day in range(10)]
    tries, when = Attempts(office, crew, van), cycle(free)
    attempts = [tries.by_sql(next(when), hours=2, deferred=number % 2 == 0) for number in range(10)]
    attempts += [tries.by_booking(next(when)) for _ in range(60)]
    attempts += [tries.by_plan(next(when)) for _ in range(40)]

    accepted = shared_out(attempts)

    assert sum(accepted) == len(free)
    assert Visit.objects.live().filter(crew=crew).count() == len(free)
    with connection.cursor() as cursor:
        for question in (DOUBLE_BOOKED, OPERATIVES_DOUBLE_BOOKED):
            cursor.execute(question)
            assert cursor.fetchone() == (0,)


def test_a_refused_attempt_says_who_is_where():
    office = an_office()
    crew = office.crew()
    office.booked(crew=crew)
    with pytest.raises(Conflict, match="already booked"):
        office.booked(crew=crew, starts_at=at(1))
