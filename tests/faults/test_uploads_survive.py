"""What a phone was told is stored, is stored: whatever is killed, whenever (invariant 6).

Web, worker and database are killed with SIGKILL at 100 moments while phones send, each a random
time after the killed one began something; some of the kills take all of them at once, and with
them every byte and name that was not fsynced, as a cut of the power does. Then every acknowledged
photo is compared byte for byte, none may be there twice, and every upload that was under way must
be gone on with from where it stood.
"""

from __future__ import annotations

import pytest

from tests.faults.killing import Killer
from tests.faults.sending import phones_sending
from tests.faults.stack import DATABASE, POWER, WEB, WORKERS, Stack

pytestmark = [pytest.mark.faults, pytest.mark.django_db]

SEED = 20_261_125
KILLS = {**dict.fromkeys(WEB, 28), WORKERS[0]: 14, DATABASE: 20, POWER: 10}
LONGEST_S = 0.08


def test_every_acknowledged_photo_is_there_once_whatever_was_killed(stack: Stack) -> None:
    assert sum(KILLS.values()) == 100
    killer = Killer(stack, KILLS, SEED, LONGEST_S, most_begun=3)
    with stack.running((*WEB, WORKERS[0])), phones_sending(stack, SEED) as sending:
        killer.kill_all()
        under_way = sending.under_way()
        sending.finish_and_compare()

    print(
        f"\nkilled {dict(killer.killed)} during {dict(killer.during)}; {len(sending.photos)} "
        f"photos, {sending.resumed} times gone on with in the middle, {len(under_way)} under way "
        f"at the end of the killing; {stack.lost_files} unsynced names and files lost"
    )
    assert killer.killed.total() == 100
    assert sending.resumed > 0
    assert stack.lost_files > 0
    assert all(photo.told for photo in under_way)
