"""The file by which a running `deploy/up` tells other commands where its servers are."""

from __future__ import annotations

import os
from collections.abc import Mapping, MutableMapping
from pathlib import Path

from deploy.embedded.private_files import write_private

PROJECT_FOLDER = Path(__file__).resolve().parents[2]
DEFAULT_DATA_FOLDER = PROJECT_FOLDER / ".eavesbook"
FILE_NAME = "environment"


def handover_file(data_folder: Path) -> Path:
    """Where the addresses of a running service stand."""
    return data_folder / "run" / FILE_NAME


def write_handover(data_folder: Path, variables: Mapping[str, str]) -> None:
    """Note the environment of a running service, readable by its owner only."""
    lines = [f"{name}={value}\n" for name, value in sorted(variables.items())]
    write_private(handover_file(data_folder), "".join(lines))


def read_handover(data_folder: Path) -> dict[str, str]:
    """The environment of the service that runs, or last ran, on a data folder, if any."""
    try:
        text = handover_file(data_folder).read_text(encoding="utf-8")
    except FileNotFoundError:
        return {}
    pairs = (line.partition("=") for line in text.splitlines() if "=" in line)
    return {name: value for name, _, value in pairs}


def load_into_environment(environment: MutableMapping[str, str] = os.environ) -> None:
    """Fill in what the environment doesn't say from the data folder of the running service.

    `EAVESBOOK_DATA` names the folder; without it, it is .eavesbook in the project.
    """
    data_folder = Path(environment.get("EAVESBOOK_DATA") or DEFAULT_DATA_FOLDER)
    environment.update(missing_from(environment, read_handover(data_folder)))


def missing_from(environment: Mapping[str, str], offered: Mapping[str, str]) -> dict[str, str]:
    """What is offered and not said in the environment, whether by value or by file."""

    def is_said(name: str) -> bool:
        plain = name.removesuffix("_FILE")
        return plain in environment or f"{plain}_FILE" in environment

    return {name: value for name, value in offered.items() if not is_said(name)}
