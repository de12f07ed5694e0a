"""Under which user the embedded servers run.

PostgreSQL refuses to run as root, rightly. Started by root, the servers run as an existing
unprivileged user, with as little as lets them reach their files; no user is added to the system and
no folder is opened to others. Started by anybody else, they run as that user.
"""

from __future__ import annotations

import os
import pwd
import signal
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from deploy.embedded import launch
from deploy.embedded.console import StartUpError

USUAL_NOBODY = 65534


@dataclass(frozen=True)
class Identity:
    """A user to run servers as; `uid` None means the present one."""

    uid: int | None = None
    gid: int | None = None
    capability: str | None = None
    own_namespace: bool = False

    def settings(self, parent: int, death_signal: int) -> launch.LaunchSettings:
        """The launch settings of a child of `parent`."""
        return launch.LaunchSettings(
            parent=parent,
            death_signal=death_signal,
            uid=self.uid,
            gid=self.gid,
            capability=self.capability,
            own_namespace=self.own_namespace,
        )

    def own(self, path: Path) -> None:
        """Give a file or folder to the user; inside a namespace that is the present user."""
        if self.own_namespace:
            os.chown(path, os.geteuid(), os.getegid())
        elif self.uid is not None and self.gid is not None:
            os.chown(path, self.uid, self.gid)

    def describe(self) -> str:
        """The user in words, for the start-up's progress; empty for the present user."""
        if self.uid is None:
            return ""
        if self.own_namespace:
            return "in a user namespace"
        return f"as user {user_name(self.uid)}"


PRESENT_USER = Identity()


def user_name(uid: int) -> str:
    """The user's name, or its number if it has none."""
    try:
        return pwd.getpwuid(uid).pw_name
    except KeyError:
        return str(uid)


def candidates(folder: Path) -> list[Identity]:
    """Identities to try in turn for servers whose files live in `folder`, least privilege first."""
    if os.geteuid() != 0:
        return [PRESENT_USER]
    uid, gid = owner_or_nobody(folder)
    plain = Identity(uid, gid)
    return [
        plain,
        Identity(uid, gid, capability="dac_read_search"),
        Identity(uid, gid, capability="dac_override"),
        Identity(uid, gid, own_namespace=True),
    ]


def owner_or_nobody(folder: Path) -> tuple[int, int]:
    """User and group of a folder that an unprivileged user has already, else those of nobody."""
    if folder.exists() and folder.stat().st_uid != 0:
        status = folder.stat()
        return status.st_uid, status.st_gid
    try:
        nobody = pwd.getpwnam("nobody")
    except KeyError:
        return USUAL_NOBODY, USUAL_NOBODY
    return nobody.pw_uid, nobody.pw_gid


def choose_identity(folder: Path, program: Path) -> Identity:
    """The first candidate that can run `program` and write to `folder`, which is made its own.

    Raises:
        StartUpError: none can.
    """
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    reasons = []
    for identity in candidates(folder):
        try:
            identity.own(folder)
        except OSError as error:
            reasons.append(str(error))
            continue
        problem = trial(identity, folder, program)
        if not problem:
            return identity
        reasons.append(problem)
    raise StartUpError(
        "The embedded database can't be run here by an unprivileged user. Start as a user other "
        "than root, or set DATABASE_URL to a PostgreSQL of your own. What was tried:\n  "
        + "\n  ".join(reasons)
    )


def trial(identity: Identity, folder: Path, program: Path) -> str:
    """Try an identity; return nothing if it works, else what went wrong."""
    script = 'cd "$1" && test -w . && test -x "$2" && "$2" --version'
    command = ["/bin/sh", "-c", script, "sh", str(folder), str(program)]
    result = subprocess.run(
        launch_command(identity.settings(os.getpid(), signal.SIGKILL), command),
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        cwd="/",
        check=False,
    )
    if result.returncode == 0:
        return ""
    said = result.stderr.strip().splitlines()
    return f"{identity}: {said[-1] if said else 'its files are out of reach'}"


def launch_command(settings: launch.LaunchSettings, command: list[str]) -> list[str]:
    """The command line that runs `command` under launch settings."""
    return [sys.executable, "-I", "-S", str(Path(launch.__file__)), settings.to_json(), *command]
