"""The Django project: settings, URLs, Celery, and the embedded start-up."""

from __future__ import annotations

from deploy.celery import app as celery_app

__all__ = ["celery_app"]
