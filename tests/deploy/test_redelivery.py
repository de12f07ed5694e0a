"""Tasks that died with their worker, on the real broker."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from typing import Any

import pytest
from kombu import Queue

from deploy.celery import app
from deploy.redelivery import hand_out_again
from deploy.tasks import clear_expired_sessions

QUEUE = Queue("redelivery-trial", routing_key="redelivery-trial")


@pytest.fixture
def channel() -> Iterator[Any]:
    hand_out_again(app)
    with app.connection_for_write() as connection:
        queue = QUEUE(connection.default_channel)
        queue.declare()
        queue.purge()
        yield connection.default_channel
        queue.delete()


def test_what_a_dead_worker_had_taken_goes_back_to_its_queue(channel: Any) -> None:
    with app.connection_for_write() as connection:
        producer = connection.Producer()
        producer.publish({"job": 7}, routing_key=QUEUE.routing_key, declare=[QUEUE])
        dying = connection.default_channel
        # Never to be given back by itself, as when the process is killed.
        dying.qos.restore_at_shutdown = False
        taken = QUEUE(dying).get()
        assert taken is not None
        assert QUEUE(channel).get() is None

    assert hand_out_again(app) == 1

    again = QUEUE(channel).get()
    assert again is not None
    assert again.payload == {"job": 7}
    again.ack()
    assert hand_out_again(app) == 0


def test_a_real_worker_does_a_task(running_worker: subprocess.Popen[bytes]) -> None:
    result = clear_expired_sessions.delay()
    assert result.get(timeout=30) is None
    assert result.successful()
