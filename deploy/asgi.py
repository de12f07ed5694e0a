"""The ASGI callable that the web server runs."""

from __future__ import annotations

import os

import django

from deploy.streamed_bodies import StreamingHandler

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings.embedded")

django.setup(set_prefix=False)
application = StreamingHandler()
