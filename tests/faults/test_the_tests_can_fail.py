"""The fault tests catch what they are for: each of these servers breaks one promise on purpose.

It says when it has just broken it, and is killed at that moment, so that one kill is enough; what
the fault tests then complain of must be the right thing.
"""

from __future__ import annotations

import pytest

from tests.faults.crews import crews_ending_jobs
from tests.faults.ending import outcome, stop_crews
from tests.faults.killing import Killer
from tests.faults.sending import phones_sending
from tests.faults.stack import BEAT, WEB, WORKERS, Stack

pytestmark = [pytest.mark.faults, pytest.mark.django_db]

UPLOADS = {
    "acknowledge_before_commit": "is lost|was called|the office forgot|no photo",
    "acknowledge_before_fsync": "no file|other bytes|gave 5|still sends|the office forgot",
    "photo_row_before_file": "no file",
    "forget_what_is_known": "twice|was called",
}
PATIENCE_S = 20.0  # longer than a broken server sits on its locks
CATCH_UP_S = 10.0


def seed_of(breakage: str) -> int:
    """So that no two tests make the same keys."""
    return int.from_bytes(breakage.encode()[:6] + breakage.encode()[-2:], "big")


@pytest.mark.parametrize("breakage", UPLOADS)
def test_an_upload_server_that_breaks_its_word_is_caught(stack: Stack, breakage: str) -> None:
    seed = seed_of(breakage)
    killer = Killer(stack, {}, seed, longest_s=0)
    again = 1.0 if breakage == "forget_what_is_known" else 0.0
    with stack.running(WEB, [breakage]), phones_sending(stack, seed, 3, again) as sending:
        killer.kill_in_the_gap(everything=breakage == "acknowledge_before_fsync")
        with pytest.raises(AssertionError, match=UPLOADS[breakage]):
            sending.finish_and_compare(PATIENCE_S)


CERTIFICATES = {
    "never_catch_up": "lost",
    "certificate_row_before_file": "wrong",
    "certificate_of_another_day": "wrong",
    "issue_without_looking": "doubled",
}


@pytest.mark.parametrize("breakage", CERTIFICATES)
def test_a_worker_that_breaks_its_word_is_caught(stack: Stack, breakage: str) -> None:
    seed = seed_of(breakage)
    killer = Killer(stack, {}, seed, longest_s=0)
    with (
        crews_ending_jobs(stack, seed, 2, 4, lambda: 1.0) as crews,
        stack.running((*WEB, WORKERS[0], BEAT), [breakage]),
    ):
        killer.kill_in_the_gap()
        stop_crews(crews)
        found = outcome(stack, crews, CATCH_UP_S)
    assert getattr(found, CERTIFICATES[breakage]) != []
