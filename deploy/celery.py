"""The Celery application, loaded with Django so that `shared_task` finds its broker."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from celery import Celery
from celery.signals import worker_ready

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings.embedded")

app = Celery("eavesbook", include=["deploy.tasks", "deploy.redelivery", "jobs.planning.tasks"])
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()

# A file that the worker makes when it takes tasks; a supervisor waits for it.
READY_FILE_VARIABLE = "EAVESBOOK_WORKER_READY_FILE"


@worker_ready.connect
def tell_that_worker_is_ready(**_: Any) -> None:
    """Make the ready file, if somebody asked for one."""
    name = os.environ.get(READY_FILE_VARIABLE)
    if name:
        Path(name).touch()
