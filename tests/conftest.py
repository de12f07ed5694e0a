"""What every test may use. Areas keep their own fixtures in a conftest.py of theirs."""

from __future__ import annotations

import os

import pytest

from deploy.embedded.chromium import HOW_TO_INSTALL, find_chromium


@pytest.fixture(scope="session")
def chromium_path() -> str:
    """The browser for browser tests; a machine without one fails them and says what to do."""
    path = find_chromium(os.environ)
    if path is None:
        pytest.fail(HOW_TO_INSTALL)
    return path
