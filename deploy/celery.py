"""The Celery application, loaded with Django so that `shared_task` finds its broker."""

from __future__ import annotations

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings.embedded")

app = Celery("eavesbook", include=["deploy.tasks"])
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
