"""For the test suite. `deploy/test` starts the servers and names them in the environment."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from deploy.settings.base import *
from deploy.settings.base import CACHES, DATABASES, REST_FRAMEWORK, STORAGES, env

# One of these for each process of a parallel run, so that none sees another's cache or messages.
WORKER = os.environ.get("PYTEST_XDIST_WORKER", "main")

SECRET_KEY = "only-for-tests-" + 40 * "x"
ALLOWED_HOSTS = ["testserver", "localhost", "127.0.0.1"]

# A pool would hold connections to a test database that is about to be dropped.
DATABASES["default"]["OPTIONS"].pop("pool", None)
CACHES["default"]["KEY_PREFIX"] = f"test-{WORKER}"

# Tasks run where they are sent from; the `running_worker` fixture lifts this for the tests that
# need the broker and a worker process.
CELERY_TASK_ALWAYS_EAGER = env.flag("EAVESBOOK_TEST_EAGER", True)
CELERY_TASK_EAGER_PROPAGATES = True
# Tests ask a running worker what came of a task.
CELERY_TASK_IGNORE_RESULT = False
CELERY_BROKER_TRANSPORT_OPTIONS = {"global_keyprefix": f"test-{WORKER}-"}
CELERY_RESULT_BACKEND_TRANSPORT_OPTIONS = {"global_keyprefix": f"test-{WORKER}-"}

# Tests share the processors among themselves; those of the search say what they want.
PLANNING_CORES = env.number("PLANNING_CORES", 1, least=1)
PLANNING_NICE = 0

# Hashing is slow on purpose; the suite signs in hundreds of times and tests argon2 by itself.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
ACCOUNT_RATE_LIMITS = False
REST_FRAMEWORK["DEFAULT_THROTTLE_RATES"] = {"sign_in": None}

# A worker process started by a test finds the same folder.
TEST_FOLDER = Path(
    env.text("EAVESBOOK_TEST_FOLDER", f"{tempfile.gettempdir()}/eavesbook-tests-{os.getuid()}")
)
MEDIA_ROOT = str(TEST_FOLDER / f"media-{WORKER}")
# Left to the base, keys would land in the folder that `deploy/up` wants for its data.
CERTIFICATE_KEY_FOLDER = str(TEST_FOLDER / f"keys-{WORKER}")
STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
WHITENOISE_AUTOREFRESH = True
WHITENOISE_USE_FINDERS = True
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
