"""Servers of one's own for the tests that kill them."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from deploy.embedded.children import Child, Program, stop_together
from deploy.embedded.data_folder import DataFolder

PATIENCE_S = 180.0


@pytest.fixture
def data(tmp_path: Path) -> DataFolder:
    """An open data folder, whose name has what names may have."""
    folder = DataFolder(tmp_path / "my data (é)")
    folder.open()
    return folder


@pytest.fixture
def start_child() -> Iterator[Callable[[Program], Child]]:
    """Start programs that are stopped when the test ends."""
    children: list[Child] = []

    def start(program: Program) -> Child:
        child = Child(program)
        child.start()
        children.append(child)
        return child

    yield start
    stop_together(children)


def wait_until(problem: Callable[[], object]) -> None:
    """Wait until `problem` returns nothing; fail with what it said last."""
    deadline = time.monotonic() + PATIENCE_S
    while trouble := problem():
        if time.monotonic() > deadline:
            pytest.fail(f"after {PATIENCE_S:.0f} s: {trouble}")
        time.sleep(0.05)
