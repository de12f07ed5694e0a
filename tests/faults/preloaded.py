"""Web, worker and beat processes that start at once, for tests that kill them many times.

Loads the service, then forks a process for each line it reads. `web` and `worker` run what
`deploy/up` runs (uvicorn on the shared listening socket, a Celery worker), `beat` sends the tasks
that catch up, oftener than the beat does; only the second that Python takes to load the project is
spent once and not at every start. A name that ends in -2 is one of a service grown large: without a
pool of connections, and no only worker. After a name may stand the breakages it shall suffer.

    python tests/faults/preloaded.py DESCRIPTOR_OF_LISTENER WATCH_FOLDER
    web web-1 [BREAKAGE ...] | worker worker-1 ... | beat beat | call OUTPUT MODULE ARGUMENT ...
"""

from __future__ import annotations

import contextlib
import gc
import importlib
import json
import os
import runpy
import signal
import sys
import time
from functools import partial
from pathlib import Path
from typing import Any

import uvicorn
from celery.signals import task_prerun
from django.conf import settings
from django.db import connections
from django.test import Client
from django.urls import reverse

from deploy.asgi import application
from deploy.celery import app
from deploy.embedded.launch import PR_SET_PDEATHSIG, prctl
from deploy.redelivery import ONLY_WORKER_VARIABLE

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.faults import breakages
from tests.faults.killing import GAP
from tests.faults.power import Journal

BEAT_S = 1.0
CATCHING_UP = ("compliance.tasks.catch_up", "compliance.tasks.seal_ledger")
STATIC_FILES = "django.contrib.staticfiles.storage.StaticFilesStorage"
# Loaded with the rest, and not by each new process at its first request or task.
LOADED_LATE = (
    "calculations.loft_json",
    "celery.app.control",
    "celery.app.log",
    "celery.apps.worker",
    "celery.backends.redis",
    "celery.concurrency.solo",
    "celery.contrib.django.task",
    "celery.worker.autoscale",
    "celery.worker.consumer",
    "celery.worker.consumer.delayed_delivery",
    "celery.worker.strategy",
    "compliance.certificates.pdf",
    "compliance.certificates.signing",
    "cryptography.hazmat.backends.openssl.backend",
    "kombu.transport.redis",
    "psycopg_pool",
    "pypdf",
    "uvicorn.lifespan.off",
    "uvicorn.loops.asyncio",
    "uvicorn.loops.auto",
    "uvicorn.protocols.http.auto",
    "uvicorn.protocols.websockets.auto",
)


def tell(events: int, what: str) -> None:
    """A line of at most a block, appended whole: who is at work on what."""
    os.write(events, f"{os.getpid()} {what}\n".encode())


def run_web(listener: int, events: int) -> None:
    async def telling(scope: Any, receive: Any, send: Any) -> None:
        tell(events, f"{scope['method']} {scope['path'].partition('/api/v1')[2] or '/uploads/'}")
        await application(scope, receive, send)

    config = uvicorn.Config(
        telling, fd=listener, lifespan="off", access_log=False, log_level="warning"
    )
    uvicorn.Server(config).run()


def run_worker(listener: int, events: int) -> None:
    os.close(listener)

    def begun(task: Any, **_: Any) -> None:
        tell(events, task.name.rpartition(".")[2])

    task_prerun.connect(begun, weak=False)
    app.Worker(
        hostname=f"fault-{os.getpid()}@here", pool_cls="solo", loglevel="WARNING",
        without_gossip=True, without_mingle=True, without_heartbeat=True, quiet=True,
    ).start()  # fmt: skip


def run_beat(listener: int, events: int) -> None:
    """Like the beat, only that its minutes are over as soon as nothing waits to be done."""
    os.close(listener)
    while True:
        with app.connection_for_write() as connection:
            idle = not connection.default_channel.client.llen(app.conf.task_default_queue)
        for name in CATCHING_UP if idle else ():
            app.send_task(name)
        time.sleep(BEAT_S)


ROLES = {"web": run_web, "worker": run_worker, "beat": run_beat}


def begin(words: list[str], listener: int, watch: Path) -> None:
    """In the forked process: run until killed."""
    prctl(PR_SET_PDEATHSIG, signal.SIGKILL)
    role, name, *broken = words
    if name.endswith("-2"):
        connections.settings["default"]["OPTIONS"].pop("pool", None)
    elif role == "worker":
        os.environ[ONLY_WORKER_VARIABLE] = "1"
    events = os.open(watch / "events.log", os.O_WRONLY | os.O_APPEND | os.O_CREAT)
    breakages.gap = partial(tell, events, GAP)
    for breakage in broken:
        breakages.BREAKAGES[breakage]()
    ROLES[role](listener, events)


def call(words: list[str]) -> None:
    """Run a module as a program; what it printed and whether it went well stands in OUTPUT."""
    output, module, *arguments = words
    partial = f"{output}.partial"
    sys.argv = [module, *arguments]
    with open(partial, "w", encoding="utf-8") as file:
        with contextlib.redirect_stdout(file):
            try:
                runpy.run_module(module, run_name="__main__")
                well = True
            except BaseException as error:
                print(f"{type(error).__name__}: {error}")
                well = isinstance(error, SystemExit) and not error.code
        file.write("\n" + json.dumps(well))
    os.replace(partial, output)


def main(listener: int, watch: Path) -> None:
    settings.STORAGES["staticfiles"] = {"BACKEND": STATIC_FILES}  # nobody collected them
    answers = os.fdopen(os.dup(1), "w")
    os.dup2(2, 1)  # the log goes to the standard output
    assert reverse("account_login")  # by now all addresses are known
    app.loader.import_default_modules()
    app.finalize()
    os.environ["CELERY_SKIP_CHECKS"] = "1"  # importing the tasks ran them, once for all workers
    for module in LOADED_LATE:
        importlib.import_module(module)
    first = Client().get("/api/v1/depth-readings/", headers={"host": "127.0.0.1"})
    assert first.status_code == 401
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    gc.collect()
    gc.freeze()  # what is shared with the forked processes is not copied for being looked at
    print("ready", file=answers, flush=True)
    for line in sys.stdin:
        pid = os.fork()
        if pid == 0:
            os.setsid()
            signal.signal(signal.SIGCHLD, signal.SIG_DFL)
            os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
            Journal(watch / "fsync.log").keep()
            words = line.split()
            try:
                call(words[1:]) if words[0] == "call" else begin(words, listener, watch)
            finally:
                os._exit(1)
        print(pid, file=answers, flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]), Path(sys.argv[2]))
