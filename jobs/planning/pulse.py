"""The sign of life of a process that works on a run, given from a thread of its own.

The search tells once a second how far it is, but gathering, a first plan of a thousand visits or
one long step of the routing may take longer than a run may be silent. The pulse does not say that
the work gets on, only that the process lives; it ends when the run should long be over.
"""

from __future__ import annotations

import logging
import threading
import time
from types import TracebackType

from django.db import DatabaseError, connection
from django.utils import timezone

from jobs.models import PlanRun

log = logging.getLogger(__name__)

BEAT_S = 3.0
# A run that takes so much longer than it was given hangs, and may be taken over.
GRACE_S = 180.0


class Pulse:
    """`with Pulse(run):` keeps `heartbeat_at` of a claimed run fresh meanwhile."""

    def __init__(self, run: PlanRun) -> None:
        self._run_id, self._claim = run.pk, run.claim
        self._until_s = time.monotonic() + run.seconds + GRACE_S
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._beat, name=f"pulse-{run.pk}", daemon=True)

    def __enter__(self) -> Pulse:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._over.set()
        self._thread.join()

    def _beat(self) -> None:
        """Beat until the work is over; a database that is away is tried again."""
        try:
            while not self._over.wait(BEAT_S) and time.monotonic() < self._until_s:
                self._once()
        finally:
            connection.close()

    def _once(self) -> None:
        try:
            ours = PlanRun.objects.filter(pk=self._run_id, claim=self._claim)
            ours.update(heartbeat_at=timezone.now())
        except DatabaseError:
            log.warning("The sign of life of run %d could not be written", self._run_id)
            connection.close()
