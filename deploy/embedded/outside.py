"""Programs that tests drive and no package of Python brings: a browser, a reader of signatures."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Mapping
from dataclasses import dataclass

from deploy.embedded.console import StartUpError, say, step


@dataclass(frozen=True)
class OutsideProgram:
    """A program that is found, or as root on a Debian-like system installed.

    names: it and its relatives have these on the usual systems; variable: may name another.
    """

    title: str
    names: tuple[str, ...]
    variable: str
    package: str
    needed_by: str

    @property
    def install_command(self) -> list[str]:
        return ["apt-get", "install", "-y", "--no-install-recommends", self.package]

    @property
    def how_to_install(self) -> str:
        return (
            f"{self.needed_by} {self.title}. Install it (as root: "
            f"{' '.join(self.install_command)}), or set {self.variable} to the path of one."
        )

    def find(self, environment: Mapping[str, str]) -> str | None:
        """Its path: the one that the variable names, else the first on the PATH."""
        named = environment.get(self.variable)
        if named:
            return shutil.which(named)
        path = environment.get("PATH")
        return next(
            (found for name in self.names if (found := shutil.which(name, path=path))), None
        )

    def ensure(self, environment: Mapping[str, str]) -> str | None:
        """Find it, or install it where that is possible; None if there is none.

        Raises:
            StartUpError: there is none, and CI=true says that nothing may be left out.
        """
        found = self.find(environment)
        if not found and os.geteuid() == 0 and shutil.which("apt-get"):
            self._install()
            found = self.find(environment)
        if not found:
            if environment.get("CI") == "true":
                raise StartUpError(self.how_to_install)
            say(f"  {self.how_to_install}")
        return found

    def _install(self) -> None:
        """By apt; what went wrong is shown, not raised."""
        with step(f"Installing {self.title}") as progress:
            # Package lists are often missing in a fresh container, and fetching them takes a while.
            for before in ([], ["apt-get", "update"]):
                if before:
                    subprocess.run(before, capture_output=True, check=False)
                result = subprocess.run(
                    self.install_command,
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


CHROMIUM = OutsideProgram(
    title="Chromium",
    names=("chromium", "chromium-browser", "google-chrome", "google-chrome-stable"),
    variable="CHROMIUM",
    package="chromium",
    needed_by="The browser tests need",
)
PDFSIG = OutsideProgram(
    title="pdfsig (of Poppler)",
    names=("pdfsig",),
    variable="PDFSIG",
    package="poppler-utils",
    needed_by="The test of certificates' signatures needs",
)
FOR_TESTS = (CHROMIUM, PDFSIG)
