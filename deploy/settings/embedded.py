"""On one machine, with the servers that `deploy/up` starts.

`deploy/up` hands the addresses and secrets over in the environment. A command started by hand, such
as `manage.py shell`, takes them from the data folder of the running service instead.
"""

from __future__ import annotations

from deploy.embedded.handover import load_into_environment

load_into_environment()

from deploy.settings.base import *
from deploy.settings.base import env

SECRET_KEY = env.secret("SECRET_KEY", least_length=50)
ALLOWED_HOSTS = env.words("ALLOWED_HOSTS", ["127.0.0.1", "localhost", "[::1]"])
CSRF_TRUSTED_ORIGINS = env.words("CSRF_TRUSTED_ORIGINS", [])
SHOW_DEMO_SIGN_INS = env.flag("SHOW_DEMO_SIGN_INS", False)
