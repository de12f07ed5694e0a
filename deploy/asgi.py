"""The ASGI callable that the web server runs."""

from __future__ import annotations

import os

from django.core.asgi import get_asgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings.embedded")

application = get_asgi_application()
