"""Settings that every way of running shares. The values come from the environment."""

from __future__ import annotations

import os
from pathlib import Path

import pghistory
from django.core.exceptions import ImproperlyConfigured

from deploy.schedule import BEAT_SCHEDULE
from deploy.settings.environment import Environment, redis_database, with_certificate_checked

PROJECT_FOLDER = Path(__file__).resolve().parents[2]

env = Environment(os.environ)

DEBUG = False
ROOT_URLCONF = "deploy.urls"
ASGI_APPLICATION = "deploy.asgi.application"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

INSTALLED_APPS = [
    "jobs",
    "compliance",
    "deploy",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "django.contrib.postgres",
    "allauth",
    "allauth.account",
    "rest_framework",
    "rest_framework.authtoken",
    "django_filters",
    "drf_spectacular",
    "django_htmx",
    "pgtrigger",
    "pghistory",
]

MIDDLEWARE = [
    "deploy.request_id.request_id_middleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "deploy.content_security.content_security_middleware",
    "deploy.private_answers.private_answers_middleware",
    "deploy.compression.CompressOnSitePages",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "jobs.history_context.HistoryFromWhere",
]

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [PROJECT_FOLDER / "deploy" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "jobs.pages.navigation.navigation",
            ],
        },
    },
]

# --- Language and time
LANGUAGE_CODE = "en-gb"
TIME_ZONE = "Europe/London"
USE_I18N = True
USE_TZ = True

# --- Database. A pool belongs to one process; connections are checked before use, so that a
# restarted server costs one retry and no error page.
DATABASES = {"default": env.database()}
DATABASES["default"] |= {
    "ATOMIC_REQUESTS": False,
    "CONN_MAX_AGE": 0,
    "CONN_HEALTH_CHECKS": True,
}
DATABASES["default"].setdefault("OPTIONS", {})
DATABASES["default"]["OPTIONS"]["application_name"] = "eavesbook"
if env.flag("DATABASE_POOL", True):
    DATABASES["default"]["OPTIONS"]["pool"] = {
        "min_size": 1,
        "max_size": env.number("DATABASE_POOL_SIZE", 8, least=1),
        "timeout": 10,
    }

# --- Redis protocol: one server, three databases, unless each has an address of its own
REDIS_URL = env.redis()
CELERY_BROKER_URL = with_certificate_checked(
    env.text("CELERY_BROKER_URL", redis_database(REDIS_URL, 0))
)
CELERY_RESULT_BACKEND = with_certificate_checked(
    env.text("CELERY_RESULT_URL", redis_database(REDIS_URL, 1))
)
CACHES = {
    "default": {
        "BACKEND": "django.core.cache.backends.redis.RedisCache",
        "LOCATION": env.text("CACHE_URL", redis_database(REDIS_URL, 2)),
        "KEY_PREFIX": "eavesbook",
        # A page must not hang on a server that takes connections and answers nothing.
        "OPTIONS": {"socket_connect_timeout": 3, "socket_timeout": 5},
    },
}

# --- Celery. A task is acknowledged when it has ended, so one that dies with its worker runs again;
# tasks are therefore written to be safe when they run twice.
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_TASK_TRACK_STARTED = True
CELERY_TASK_TIME_LIMIT = 15 * 60
CELERY_TASK_SOFT_TIME_LIMIT = 14 * 60
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_WORKER_CANCEL_LONG_RUNNING_TASKS_ON_CONNECTION_LOSS = True
# Nobody asks what became of a task: its outcome is in the database. Asking would have each sender
# listen for it, and fail for good once the server of results was away for half a minute.
CELERY_TASK_IGNORE_RESULT = True
CELERY_RESULT_EXPIRES = 24 * 3600
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_TRANSPORT_OPTIONS = {
    # A task not acknowledged within this time is handed out again; longer than any task may run.
    "visibility_timeout": 30 * 60,
    # Whoever sends a task while the broker is away gives up after a second, not when it is back:
    # it has stored what it was told, and the beat finds what was not sent.
    "max_retries": 2,
    "interval_start": 0,
    "interval_step": 0.2,
    "interval_max": 0.5,
    "socket_connect_timeout": 3,
    "socket_timeout": 15,
}
CELERY_RESULT_BACKEND_TRANSPORT_OPTIONS = {"visibility_timeout": 30 * 60}
# Plan runs take a processor for minutes: a queue and a worker of their own, so that photos and
# verdicts don't wait for them.
CELERY_TASK_ROUTES = {"jobs.planning.tasks.run_plan": {"queue": "planning"}}
CELERY_TIMEZONE = TIME_ZONE
CELERY_TASK_SERIALIZER = "json"
CELERY_ACCEPT_CONTENT = ["json"]
CELERY_BEAT_SCHEDULE = BEAT_SCHEDULE

# --- People
AUTH_USER_MODEL = "jobs.User"
AUTHENTICATION_BACKENDS = ["allauth.account.auth_backends.AuthenticationBackend"]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 12},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
# The demo's passwords are no secret; only an embedded service for one machine shows them.
SHOW_DEMO_SIGN_INS = False
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "/"
ACCOUNT_ADAPTER = "deploy.accounts.adapter.ClosedAccountAdapter"
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*"]
ACCOUNT_EMAIL_VERIFICATION = "none"
ACCOUNT_LOGOUT_REDIRECT_URL = "account_login"
ACCOUNT_PREVENT_ENUMERATION = True
# Else it is the host that whoever asks for a mail names.
ACCOUNT_EMAIL_SUBJECT_PREFIX = ""
# No "remember me" to tick: every session lasts as long as SESSION_COOKIE_AGE says.
ACCOUNT_SESSION_REMEMBER = True
ACCOUNT_RATE_LIMITS = {
    "login": "60/m/ip",
    "login_failed": "20/m/ip,5/5m/key",
}
SESSION_ENGINE = "deploy.sessions"
# An installer signs in once a fortnight: a phone in a loft has no patience for more.
SESSION_COOKIE_AGE = 14 * 24 * 3600
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_SAMESITE = "Lax"

# --- API
REST_FRAMEWORK = {
    # Token first: its answer to a stranger is 401 with the way to sign in, the session's only 403.
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "rest_framework.authentication.TokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["jobs.api.permissions.ByRole"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": [
        "jobs.api.parsing.BoundedJSONParser",
        "rest_framework.parsers.FormParser",
        "rest_framework.parsers.MultiPartParser",
    ],
    "DEFAULT_PAGINATION_CLASS": "jobs.api.paging.CursorPages",
    "DEFAULT_FILTER_BACKENDS": ["jobs.api.filters.FilterBackend"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "DEFAULT_THROTTLE_RATES": {"sign_in": "10/min"},
    # Attempts are counted by the address that connects; X-Forwarded-For is anybody's word here.
    "NUM_PROXIES": 0,
    "EXCEPTION_HANDLER": "jobs.api.problems.problem_handler",
    "PAGE_SIZE": 50,
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Eavesbook",
    "DESCRIPTION": "Plan loft-insulation jobs and keep the records that prove them.",
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "SCHEMA_PATH_PREFIX": r"/api/v1",
    "SERVE_INCLUDE_SCHEMA": False,
    "COMPONENT_SPLIT_REQUEST": True,
    "GET_LIB_DOC_EXCLUDES": "deploy.api_schema.bases_without_words",
    "ENUM_NAME_OVERRIDES": {
        "VisitKindEnum": "jobs.models.visit_kinds.VisitKind",
        "LeavingReasonEnum": "jobs.models.site_work.Leave.Because",
        "ErasureReasonEnum": "compliance.models.personal.ErasureRequest.Because",
        "FindingSeverityEnum": "compliance.models.Finding.Severity",
        "InspectionSeverityEnum": [
            ("normal", "Normal"),
            ("tightened", "Tightened"),
            ("reduced", "Reduced"),
        ],
    },
}

# --- Static files: named by their content and cached for good
STATIC_URL = "/static/"
STATIC_ROOT = env.text("STATIC_ROOT", str(PROJECT_FOLDER / "staticfiles"))

# --- Stored photos and documents: a folder, or S3-compatible storage when S3_BUCKET is set.
# Neither is served by address; pages hand them out after asking who may see them.
MEDIA_ROOT = env.text("MEDIA_ROOT", str(PROJECT_FOLDER / ".eavesbook" / "media"))
FILE_UPLOAD_PERMISSIONS = 0o640
DATA_UPLOAD_MAX_MEMORY_SIZE = 10 * 1024 * 1024
S3_BUCKET = env.text("S3_BUCKET", "")
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "deploy.static_files.StaticFiles"},
}
if S3_BUCKET:
    STORAGES["default"] = {
        "BACKEND": "storages.backends.s3.S3Storage",
        "OPTIONS": {
            "bucket_name": S3_BUCKET,
            "endpoint_url": env.text("S3_ENDPOINT_URL", "") or None,
            "region_name": env.text("S3_REGION", "") or None,
            "access_key": env.text("S3_ACCESS_KEY"),
            "secret_key": env.text("S3_SECRET_KEY"),
            "default_acl": None,
            "querystring_auth": True,
            "file_overwrite": False,
        },
    }

# --- Certificates and seals: where the keys lie that are made at the first start, a key of your own
# for certificates (a file or a device; see compliance/certificates/key_sources.py), and the address
# that the printed QR code opens.
CERTIFICATE_KEY_FOLDER = env.text("CERTIFICATE_KEY_FOLDER", str(Path(MEDIA_ROOT).parent / "keys"))
CERTIFICATE_KEY_STORE = env.text("CERTIFICATE_KEY_STORE", "")
CERTIFICATE_KEY_PASSWORD = env.text("CERTIFICATE_KEY_PASSWORD", "")
CERTIFICATE_TOKEN = {
    "module": env.text("CERTIFICATE_TOKEN_MODULE", ""),
    "label": env.text("CERTIFICATE_TOKEN_LABEL", ""),
    "pin": env.text("CERTIFICATE_TOKEN_PIN", ""),
    "key": env.text("CERTIFICATE_TOKEN_KEY", ""),
}
if CERTIFICATE_KEY_STORE and CERTIFICATE_TOKEN["module"]:
    raise ImproperlyConfigured(
        "CERTIFICATE_KEY_STORE and CERTIFICATE_TOKEN_MODULE are both set. Certificates are signed "
        "by one key: take one of the two away."
    )
PUBLIC_ADDRESS = env.text("PUBLIC_ADDRESS", "http://127.0.0.1:8000")

# --- Planning: how long drives take. Without a road-routing server (the open `table` service of
# HTTP road routing) it is the distance on the sphere, times a road factor, at a mean speed.
TRAVEL_ROUTER_URL = env.text("TRAVEL_ROUTER_URL", "")
if TRAVEL_ROUTER_URL and not TRAVEL_ROUTER_URL.startswith(("http://", "https://")):
    raise ImproperlyConfigured("TRAVEL_ROUTER_URL must begin with http:// or https://.")
TRAVEL_ROAD_FACTOR = env.number("TRAVEL_ROAD_PERCENT", 130, least=100) / 100
TRAVEL_SPEED_KM_H = env.number("TRAVEL_SPEED_KM_H", 40, least=5)

# How many processors a plan run may take at once, and how far it stands back (0 to 19, as `nice`)
# when pages and other tasks want them.
PLANNING_CORES = env.number("PLANNING_CORES", min(4, len(os.sched_getaffinity(0))), least=1)
PLANNING_NICE = min(19, env.number("PLANNING_NICE", 5))

# --- Safety of pages
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
# What a page may load and from where; see deploy/content_security.py.
CONTENT_SECURITY_POLICY = {
    "default-src": ["'self'"],
    "img-src": ["'self'", "data:", "blob:"],
    "object-src": ["'none'"],
    "base-uri": ["'none'"],
    "form-action": ["'self'"],
    "frame-ancestors": ["'none'"],
}

# --- History of changes, and triggers
PGHISTORY_APPEND_ONLY = True
PGHISTORY_DEFAULT_TRACKERS = (
    pghistory.InsertEvent(),
    pghistory.UpdateEvent(),
    pghistory.DeleteEvent(),
)
PGHISTORY_MIDDLEWARE_METHODS = ("POST", "PUT", "PATCH", "DELETE")

# --- Mail
EMAIL_BACKEND = env.text("EMAIL_BACKEND", "django.core.mail.backends.console.EmailBackend")
DEFAULT_FROM_EMAIL = env.text("DEFAULT_FROM_EMAIL", "eavesbook@localhost")

# --- Log: one line an event, on stdout, each with the id of the request that caused it
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {
        "request_id": {"()": "deploy.request_id.RequestIdFilter"},
        "secret_paths": {"()": "deploy.secret_log.SecretPathFilter"},
    },
    "formatters": {
        "line": {"format": "%(asctime)s %(levelname)s %(name)s [%(request_id)s] %(message)s"},
    },
    "handlers": {
        "stdout": {
            "class": "logging.StreamHandler",
            "stream": "ext://sys.stdout",
            "filters": ["request_id", "secret_paths"],
            "formatter": "line",
        },
    },
    "root": {"handlers": ["stdout"], "level": env.text("LOG_LEVEL", "INFO").upper()},
    "loggers": {
        "django.server": {"handlers": ["stdout"], "level": "INFO", "propagate": False},
        "django.security.DisallowedHost": {"level": "CRITICAL"},
    },
}
