"""Between the last reading and the certificate: none lost, doubled or wrong, whatever is killed.

Workers, web, the beat and the database are killed with SIGKILL at 200 moments while crews send
last readings and handovers and workers judge and certify; some of the kills take all of them at
once, and with them every byte and name that was not fsynced. Afterwards the beat has its time to
catch up. Lost: a job that was handed over with all its evidence has no certificate. Doubled: two
valid certificates of one job, or two of one assessment. Wrong: a PDF that is not, byte for byte,
what its facts give, or whose SHA-256, entry in the ledger or signature does not fit it.
"""

from __future__ import annotations

import pytest

from tests.faults.crews import crews_ending_jobs
from tests.faults.ending import outcome, stop_crews
from tests.faults.killing import Killer
from tests.faults.stack import BEAT, DATABASE, POWER, WEB, WORKERS, Stack

pytestmark = [pytest.mark.faults, pytest.mark.django_db]

SEED = 6_962
KILLS = {**dict.fromkeys(WORKERS, 50), **dict.fromkeys(WEB, 25), BEAT: 5, DATABASE: 30, POWER: 15}
LONGEST_S = 0.12
CREWS, JOBS = 5, 160


def test_no_certificate_is_lost_doubled_or_wrong_whatever_was_killed(stack: Stack) -> None:
    assert sum(KILLS.values()) == 200
    killer = Killer(stack, KILLS, SEED, LONGEST_S)
    with (
        crews_ending_jobs(stack, SEED, CREWS, JOBS, killer.so_far) as crews,
        stack.running((*WEB, *WORKERS, BEAT)),
    ):
        killer.kill_all()
        stop_crews(crews)
        found = outcome(stack, crews)

    print(
        f"\nkilled {dict(killer.killed)} during {dict(killer.during)}; {len(found.jobs)} jobs "
        f"ended of {JOBS}; {stack.lost_files} unsynced names and files lost"
    )
    assert killer.killed.total() == 200
    assert len(found.jobs) > JOBS / 2
    assert found.lost == []
    assert found.doubled == []
    assert found.wrong == []
    assert found.forgotten == []
    assert found.not_sealed == []
