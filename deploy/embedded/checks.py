"""The checks that `deploy/test` runs before the tests."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from deploy.embedded.console import say, step
from deploy.embedded.handover import PROJECT_FOLDER

# For the production settings, which take nothing for granted. None of it is used for anything.
PRODUCTION_EXAMPLE = {
    "DJANGO_SETTINGS_MODULE": "deploy.settings.production",
    "SECRET_KEY": "only-for-the-deployment-check-" + "0123456789abcdefghijklmnopqrstuvwxyz" * 2,
    "ALLOWED_HOSTS": "eavesbook.example",
    "MEDIA_ROOT": "/nowhere/media",
    "CERTIFICATE_KEY_FOLDER": "/nowhere/keys",
}


@dataclass(frozen=True)
class Check:
    """A command that must end well, and what it needs in its environment beyond the tests'."""

    title: str
    command: Sequence[str]
    environment: Mapping[str, str]


STRICTLY_TYPED = (
    "calculations",
    "jobs/planning/problem.py",
    "jobs/planning/checker.py",
    "jobs/planning/objective.py",
    "jobs/planning/changes.py",
    "jobs/planning/solving",
    "compliance/verify",
)
"""Rooms whose types are held strictly; what they import is held with them."""


def all_checks() -> list[Check]:
    """Every check, quick ones first."""
    manage = [sys.executable, "manage.py"]
    return [
        Check("ruff check", [tool("ruff"), "check", "."], {}),
        Check("ruff format --check", [tool("ruff"), "format", "--check", "."], {}),
        Check("Import contracts", [tool("lint-imports"), "--no-cache"], {}),
        Check("mypy: the engine, the planner, the verifier", [tool("mypy"), *STRICTLY_TYPED], {}),
        Check("makemigrations --check", [*manage, "makemigrations", "--check", "--dry-run"], {}),
        Check(
            "check --deploy",
            [*manage, "check", "--deploy", "--fail-level", "WARNING"],
            PRODUCTION_EXAMPLE,
        ),
    ]


def tool(name: str) -> str:
    """A program of the virtual environment."""
    return str(Path(sys.executable).with_name(name))


def run_checks(environment: Mapping[str, str]) -> list[str]:
    """Run every check; show what the failing ones said, and return their titles."""
    failed = []
    for check in all_checks():
        with step(check.title) as progress:
            result = subprocess.run(
                check.command,
                cwd=PROJECT_FOLDER,
                env={**environment, **check.environment},
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                text=True,
                check=False,
            )
            progress.note = "" if result.returncode == 0 else "FAILED"
        if result.returncode != 0:
            failed.append(check.title)
            say(result.stdout.rstrip()[-6000:])
    return failed
