"""Crews that end job after job: the last reading, the handover, now and then a reading after it.

Each record has a key of its own and is sent until the office answers that it is stored.
"""

from __future__ import annotations

import http.client
import json
import random
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from threading import Event, Thread
from typing import Any
from uuid import UUID

from tests.faults.phones import LOST
from tests.faults.stack import Stack

ANSWER_S = 25.0
PAUSE_S = 0.05
AHEAD = 4
CAUTIONS = ["storage", "ventilation", "walking", "cables"]
READINGS, HANDOVERS = "/api/v1/depth-readings/", "/api/v1/handovers/"
LATE_READING = 0.3
"""The share of jobs of which another reading comes while they are judged and certified."""


@dataclass
class Crew:
    """A thread that ends its jobs one after the other until told to finish."""

    token: str
    jobs: list[dict[str, Any]]
    port: int
    seed: int
    may_begin: Callable[[int], bool]
    finish: Event
    ended: list[int] = field(default_factory=list)
    keys: dict[str, list[str]] = field(default_factory=lambda: {READINGS: [], HANDOVERS: []})
    wrong: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.chance = random.Random(self.seed)
        self.thread = Thread(target=self.work, daemon=True)

    def work(self) -> None:
        try:
            for number, job in enumerate(self.jobs):
                while not self.may_begin(number):
                    if self.finish.wait(PAUSE_S):
                        return
                self.end(job)
        except AssertionError as error:
            self.wrong.append(str(error))

    def end(self, job: dict[str, Any]) -> None:
        self.record(READINGS, self.reading(job))
        self.record(HANDOVERS, self.handover(job))
        self.ended.append(job["job"])
        if self.chance.random() < LATE_READING:
            time.sleep(self.chance.uniform(0, 0.3))
            self.record(READINGS, self.reading(job), or_else=409)

    def reading(self, job: dict[str, Any]) -> dict[str, Any]:
        place = {"x_mm": job["x_mm"], "y_mm": job["y_mm"]}
        row = {**place, "depth_mm": self.chance.randrange(275, 300)}
        return {"visit": job["visit"], "client_key": self.new_key(), "readings": [row]}

    def handover(self, job: dict[str, Any]) -> dict[str, Any]:
        signed = {"signed_name": "A. Householder", "name_confirmed": True}
        told = {"visit": job["visit"], "client_key": self.new_key(), "cautions_given": CAUTIONS}
        return {**told, **signed}

    def new_key(self) -> str:
        return str(UUID(bytes=self.chance.randbytes(16), version=4))

    def record(self, address: str, body: dict[str, Any], or_else: int = 201) -> None:
        """Send until it is answered as stored; `or_else` is an answer that ends it too."""
        while True:
            try:
                status, said = self.post(address, body)
            except LOST:
                status, said = 0, ""
            if status in (200, 201):
                self.keys[address].append(body["client_key"])
                return
            if status == or_else:
                return
            assert status == 0 or status >= 500, f"{address} gave {status}: {said[:300]}"
            time.sleep(PAUSE_S * self.chance.random())

    def post(self, address: str, body: dict[str, Any]) -> tuple[int, str]:
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=ANSWER_S)
        sent = {"Authorization": f"Token {self.token}", "Content-Type": "application/json"}
        try:
            line.request("POST", address, json.dumps(body), sent)
            answer = line.getresponse()
            return answer.status, answer.read().decode()
        finally:
            line.close()


@contextmanager
def crews_ending_jobs(
    stack: Stack, seed: int, crews: int, jobs: int, so_far: Callable[[], float]
) -> Iterator[list[Crew]]:
    """so_far: which share of the killing is done; the jobs are spread evenly over it."""
    finish = Event()

    def may_begin(number: int) -> bool:
        return number < AHEAD + so_far() * (jobs // crews - AHEAD)

    seeded = stack.told_by("tests.faults.seeding", "certificates", str(crews), str(jobs))
    working = [
        Crew(one["token"], one["jobs"], stack.port, seed + number, may_begin, finish)
        for number, one in enumerate(seeded)
    ]
    for crew in working:
        crew.thread.start()
    try:
        yield working
    finally:
        finish.set()
