"""The browser that the browser tests drive."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Mapping

from deploy.embedded.console import StartUpError, say, step

# Names it or its relatives have on the usual systems.
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
VARIABLE = "CHROMIUM"
INSTALL = ["apt-get", "install", "-y", "--no-install-recommends", "chromium"]
HOW_TO_INSTALL = (
    "The browser tests need Chromium. Install it (as root: " + " ".join(INSTALL) + "), "
    f"or set {VARIABLE} to the path of one."
)


def find_chromium(environment: Mapping[str, str]) -> str | None:
    """The path of a Chromium: the one that CHROMIUM names, else the first on the PATH."""
    named = environment.get(VARIABLE)
    if named:
        return shutil.which(named)
    path = environment.get("PATH")
    return next((found for name in NAMES if (found := shutil.which(name, path=path))), None)


def ensure_chromium(environment: Mapping[str, str]) -> str | None:
    """Find Chromium, or as root on a Debian-like system install it; None if there is none.

    Raises:
        StartUpError: there is none, and CI=true says that nothing may be left out.
    """
    found = find_chromium(environment)
    if not found and os.geteuid() == 0 and shutil.which("apt-get"):
        install()
        found = find_chromium(environment)
    if not found:
        if environment.get("CI") == "true":
            raise StartUpError(HOW_TO_INSTALL)
        say(f"  {HOW_TO_INSTALL}")
    return found


def install() -> None:
    """Install Chromium by apt; what went wrong is shown, not raised."""
    with step("Installing Chromium") as progress:
        # Package lists are often missing in a fresh container, and fetching them takes a while.
        for before in ([], ["apt-get", "update"]):
            if before:
                subprocess.run(before, capture_output=True, check=False)
            result = subprocess.run(
                INSTALL,
                env={**os.environ, "DEBIAN_FRONTEND": "noninteractive"},
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                text=True,
                check=False,
            )
            if result.returncode == 0:
                return
        progress.tell(result.stdout.strip().splitlines()[-1] if result.stdout else "failed")
