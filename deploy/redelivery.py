"""Hand out again what an ended worker left unacknowledged.

On Redis a task that died with its worker is handed out again only after the visibility timeout,
half an hour. Where one worker is the only one, as embedded, nobody else can be at those tasks when
it starts, so it need not wait.
"""

from __future__ import annotations

import logging
import os
from typing import Any

from celery import Celery
from celery.signals import worker_init

# Set by `deploy/up` for the one worker that it starts on its own server.
ONLY_WORKER_VARIABLE = "EAVESBOOK_ONLY_WORKER"

logger = logging.getLogger(__name__)


def hand_out_again(app: Celery) -> int:
    """Put every unacknowledged task back into its queue; return how many there were.

    Only right while no worker runs. The planner's own worker may: a plan run that is handed out
    twice finds itself claimed and ends at once.
    """
    with app.connection_for_write() as connection:
        qos = connection.default_channel.qos
        with qos.channel.conn_or_acquire() as client:
            tags = client.zrange(qos.unacked_index_key, 0, -1)
        for tag in tags:
            qos.restore_by_tag(tag)
    return len(tags)


@worker_init.connect
def take_over_from_the_last_worker(sender: Any = None, **_: Any) -> None:
    """Before the only worker takes its first task, give it those of the one before."""
    if os.environ.get(ONLY_WORKER_VARIABLE) == "1":
        count = hand_out_again(sender.app)
        if count:
            logger.warning("%d tasks of an ended worker are handed out again", count)
