"""The production example fits the settings, and its parts fit one another."""

from __future__ import annotations

import re
import shlex
import subprocess
from pathlib import Path
from typing import Any

import pytest
import yaml
from django.conf import settings

from deploy.embedded.handover import PROJECT_FOLDER
from tests.deploy.test_production_settings import COMPLETE, load

EXAMPLE = PROJECT_FOLDER / "deploy" / "production"
COMPOSE: dict[str, Any] = yaml.safe_load((EXAMPLE / "compose.example.yaml").read_text())
OURS = {name: part for name, part in COMPOSE["services"].items() if part["image"] == "eavesbook"}
MOUNTED = "/run/secrets/"


def told(lines: str) -> dict[str, str]:
    """What lines such as NAME=value set."""
    return dict(re.findall(r"^([A-Z][A-Z0-9_]*)=(.*)$", lines, re.MULTILINE))


@pytest.fixture
def secrets(tmp_path: Path) -> Path:
    """A folder of secrets as the example's script makes them."""
    folder = tmp_path / "secrets"
    subprocess.run([EXAMPLE / "make_secrets.sh", folder], check=True, capture_output=True)
    return folder


def test_each_variable_of_the_example_is_one_that_settings_read() -> None:
    text = (EXAMPLE / "environment.example").read_text()
    named = set(told(re.sub(r"^#", "", text, flags=re.MULTILINE)))
    sources = (PROJECT_FOLDER / "deploy" / "settings").glob("*.py")
    read = {
        name
        for source in sources
        for name in re.findall(r"env\.\w+\(\s*\"(\w+)\"", source.read_text())
    } | {"DATABASE_URL", "REDIS_URL"}
    assert len(named) > 25
    assert {name for name in named if name.removesuffix("_FILE") not in read} == set()


def test_the_service_starts_from_the_example_and_its_secrets(secrets: Path) -> None:
    web = COMPOSE["services"]["web"]
    given = told((EXAMPLE / "environment.example").read_text()) | {
        name: value.replace(MOUNTED, f"{secrets}/") for name, value in web["environment"].items()
    }
    found = load(
        {"PATH": COMPLETE["PATH"], **given},
        "*[settings.DATABASES['default'][name] for name in ('HOST', 'PASSWORD')],"
        " settings.REDIS_URL, settings.PUBLIC_ADDRESS",
    )
    assert found.returncode == 0, found.stderr
    host, password, redis, address = found.stdout.split()
    assert host in COMPOSE["services"]
    assert password == (secrets / "database_password").read_text().strip()
    assert (secrets / "redis_password").read_text().strip() in redis
    assert f"--from {address.removeprefix('https://')} " in COMPOSE["services"]["proxy"]["command"]


def test_secrets_are_made_once_and_containers_can_read_them(secrets: Path) -> None:
    first = {path.name: path.read_text() for path in secrets.iterdir()}
    assert set(first) == set(COMPOSE["secrets"])
    for name, where in COMPOSE["secrets"].items():
        assert where["file"] == f"secrets/{name}"
        assert (secrets / name).stat().st_mode & 0o777 == 0o444
    assert secrets.stat().st_mode & 0o777 == 0o700

    (secrets / "secret_key").unlink()
    subprocess.run([EXAMPLE / "make_secrets.sh", secrets], check=True, capture_output=True)
    again = {path.name: path.read_text() for path in secrets.iterdir()}
    assert {name for name in first if first[name] != again[name]} == {"secret_key"}


def test_what_a_part_reads_is_mounted_into_it() -> None:
    for name, part in COMPOSE["services"].items():
        read = set(re.findall(rf"{MOUNTED}(\w+)", str({**part, "secrets": ""})))
        if name == "database":
            read |= set(re.findall(rf"{MOUNTED}(\w+)", (EXAMPLE / "make_role.sh").read_text()))
        assert read == set(part.get("secrets", [])), name


def test_every_queue_has_a_worker_and_there_is_one_beat() -> None:
    commands = [shlex.split(part.get("command", "")) for part in OURS.values()]
    served = {
        words[words.index("--queues") + 1] if "--queues" in words else "celery"
        for words in commands
        if "worker" in words
    }
    routed = {route["queue"] for route in settings.CELERY_TASK_ROUTES.values()}
    assert served == {"celery"} | routed
    assert sum("beat" in words for words in commands) == 1


def test_no_part_is_killed_while_it_may_still_be_stopping() -> None:
    grace = re.search(
        r'"--timeout-graceful-shutdown", "(\d+)"', (EXAMPLE / "Containerfile").read_text()
    )
    assert grace
    assert int(COMPOSE["services"]["web"]["stop_grace_period"].rstrip("s")) > int(grace[1])


@pytest.mark.parametrize("name", COMPOSE["services"])
def test_each_part_is_limited_and_starts_again(name: str) -> None:
    part = COMPOSE["services"][name]
    assert part["restart"] == "unless-stopped"
    assert part["mem_limit"]
    assert part["logging"]["options"]["max-size"]
