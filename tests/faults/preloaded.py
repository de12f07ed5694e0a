"""Web and worker processes that start at once, for tests that kill them many times.

Loads the service, then forks one process for each line it reads: `web` or `worker`. Each runs what
`deploy/up` runs (uvicorn on the shared listening socket, a Celery worker); only the second that
Python takes to load the project is spent once and not at every start.

    python tests/faults/preloaded.py DESCRIPTOR_OF_LISTENER
"""

from __future__ import annotations

import os
import signal
import sys

import uvicorn
from django.urls import get_resolver

from deploy.asgi import application
from deploy.celery import app


def run_web(listener: int) -> None:
    config = uvicorn.Config(
        application, fd=listener, lifespan="off", access_log=False, log_level="warning"
    )
    uvicorn.Server(config).run()


def run_worker(listener: int) -> None:
    os.close(listener)
    options = ["--pool", "solo", "--loglevel", "WARNING", "--without-gossip", "--without-mingle"]
    app.worker_main(["worker", "--hostname", f"fault-{os.getpid()}@here", *options])


ROLES = {"web": run_web, "worker": run_worker}


def main(listener: int) -> None:
    assert get_resolver().url_patterns
    app.loader.import_default_modules()
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    print("ready", flush=True)
    for line in sys.stdin:
        pid = os.fork()
        if pid == 0:
            os.setsid()
            signal.signal(signal.SIGCHLD, signal.SIG_DFL)
            os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
            os.dup2(2, 1)
            try:
                ROLES[line.strip()](listener)
            finally:
                os._exit(1)
        print(pid, flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]))
