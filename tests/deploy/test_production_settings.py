"""The production settings start complete or not at all."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from deploy.embedded.checks import PRODUCTION_EXAMPLE
from deploy.embedded.handover import PROJECT_FOLDER

SERVERS = {"DATABASE_URL": "postgres://a:b@127.0.0.1/x", "REDIS_URL": "redis://:b@127.0.0.1"}
COMPLETE = {"PATH": os.environ["PATH"], **SERVERS, **PRODUCTION_EXAMPLE}


def load(environment: dict[str, str], expression: str = "'ok'") -> subprocess.CompletedProcess[str]:
    """Load the production settings in a process of their own and print an expression of them."""
    code = f"import deploy.settings.production as settings; print({expression})"
    return subprocess.run(
        [sys.executable, "-c", code],
        env=environment,
        cwd=PROJECT_FOLDER,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.parametrize(
    "missing",
    [
        "SECRET_KEY",
        "DATABASE_URL",
        "REDIS_URL",
        "ALLOWED_HOSTS",
        "MEDIA_ROOT",
        "CERTIFICATE_KEY_FOLDER",
    ],
)
def test_without_a_needed_value_nothing_starts(missing: str) -> None:
    result = load({name: value for name, value in COMPLETE.items() if name != missing})
    assert result.returncode != 0
    assert f"{missing} is not set" in result.stderr


def test_a_short_secret_key_is_refused() -> None:
    result = load(COMPLETE | {"SECRET_KEY": "changeme"})
    assert result.returncode != 0
    assert "SECRET_KEY has 8 characters" in result.stderr


def test_object_storage_needs_no_folder_but_its_keys() -> None:
    without_folder = {name: value for name, value in COMPLETE.items() if name != "MEDIA_ROOT"}
    bucket = {"S3_BUCKET": "photos", "S3_ACCESS_KEY": "a"}
    refused = load(without_folder | bucket)
    assert "S3_SECRET_KEY is not set" in refused.stderr
    accepted = load(
        without_folder | bucket | {"S3_SECRET_KEY": "b"}, "settings.STORAGES['default']['BACKEND']"
    )
    assert accepted.stdout.strip() == "storages.backends.s3.S3Storage"


def test_a_certificates_code_opens_the_first_host_unless_told_otherwise() -> None:
    hosts = {"ALLOWED_HOSTS": ".a.example,b.example"}
    assert load(COMPLETE | hosts, "settings.PUBLIC_ADDRESS").stdout.strip() == "https://a.example"
    told = COMPLETE | hosts | {"PUBLIC_ADDRESS": "https://check.b.example"}
    assert load(told, "settings.PUBLIC_ADDRESS").stdout.strip() == "https://check.b.example"


def test_origins_follow_from_hosts() -> None:
    result = load(
        COMPLETE | {"ALLOWED_HOSTS": "a.example,.b.example"}, "settings.CSRF_TRUSTED_ORIGINS"
    )
    assert result.stdout.strip() == "['https://a.example', 'https://*.b.example']"


@pytest.mark.parametrize(
    ("told", "proxies"),
    [({}, "1"), ({"TRUSTED_PROXY_COUNT": "2"}, "2"), ({"BEHIND_PROXY": "no"}, "0")],
)
def test_a_visitor_cannot_choose_the_address_that_attempts_are_counted_by(
    told: dict[str, str], proxies: str
) -> None:
    found = load(COMPLETE | told, "settings.REST_FRAMEWORK['NUM_PROXIES']")
    assert found.stdout.strip() == proxies
