"""Make the project's own virtual environment, with the standard library alone.

`deploy/up` and `deploy/test` run this with whatever Python the machine has; nothing of the project
can be imported yet. Packages are installed from lock files with hashes: by uv, which is itself
installed from a lock with hashes, or by pip where uv can't be had. Settings of pip (index, proxy,
certificates) in the environment or in pip's own files are handed on to uv.
"""

from __future__ import annotations

import contextlib
import fcntl
import hashlib
import json
import os
import shutil
import subprocess
import sys
import time
import venv
from collections.abc import Iterator, Mapping
from pathlib import Path

PROJECT_FOLDER = Path(__file__).resolve().parents[1]
LOCKS_FOLDER = PROJECT_FOLDER / "deploy" / "requirements"
STAMP_NAME = "installed-locks.json"

# What pip calls a setting, and the variable that tells uv the same.
PIP_TO_UV = {
    "index-url": "UV_DEFAULT_INDEX",
    "extra-index-url": "UV_INDEX",
    "find-links": "UV_FIND_LINKS",
    "cert": "SSL_CERT_FILE",
    "trusted-host": "UV_INSECURE_HOST",
    "proxy": "ALL_PROXY",
    "default-timeout": "UV_HTTP_TIMEOUT",
    "timeout": "UV_HTTP_TIMEOUT",
}


class BootstrapError(Exception):
    """The environment can't be made; the message says why and what helps."""


def say(title: str) -> None:
    """Announce a step; `done` ends its line."""
    print(f"  {title:<44}", end="", flush=True)


def done(started: float, note: str = "") -> None:
    """End a step's line with the time since `started` (a `time.monotonic()` in seconds)."""
    print(f"{time.monotonic() - started:6.1f} s  {note}".rstrip(), flush=True)


def environment_folder() -> Path:
    """Where the virtual environment lives: `EAVESBOOK_VENV`, or .venv in the project."""
    return Path(os.environ.get("EAVESBOOK_VENV") or PROJECT_FOLDER / ".venv").absolute()


def lock_digest(name: str) -> str:
    """A digest of a lock file and of the Python it is installed for."""
    text = (LOCKS_FOLDER / f"{name}.lock").read_bytes()
    python = f"{sys.implementation.cache_tag} {sys.platform}"
    return hashlib.sha256(text + python.encode()).hexdigest()


def read_stamp(folder: Path) -> dict[str, str]:
    """Which locks a virtual environment holds, by name; empty if it is unfinished or missing."""
    try:
        stamp = json.loads((folder / STAMP_NAME).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return stamp if isinstance(stamp, dict) and (folder / "bin" / "python").exists() else {}


def make_environment(lock_name: str) -> Path:
    """Make sure that the virtual environment holds a lock; return its Python.

    An environment is kept as long as its locks are those of the project. One made for the tests
    holds the runtime lock too, so both commands share it.

    Raises:
        BootstrapError: it can't be made or filled.
    """
    folder = environment_folder()
    python = folder / "bin" / "python"
    with one_at_a_time(folder):
        runtime = lock_digest("runtime")
        wanted = lock_digest(lock_name)
        stamp = read_stamp(folder)
        if stamp.get(lock_name) == wanted and stamp.get("runtime") == runtime:
            return python
        if stamp.get("runtime") != runtime:
            _make_empty(folder)
            stamp = {}
        _install(folder, lock_name)
        stamp |= {"runtime": runtime, lock_name: wanted}
        (folder / STAMP_NAME).write_text(json.dumps(stamp), encoding="utf-8")
    return python


@contextlib.contextmanager
def one_at_a_time(folder: Path) -> Iterator[None]:
    """Hold a lock beside the environment, so that two commands never fill it at once."""
    lock = folder.with_name(f"{folder.name}.lock")
    try:
        stream = lock.open("w")
    except OSError as error:
        raise BootstrapError(
            f"{folder.parent} can't be written to ({error.strerror}). Set EAVESBOOK_VENV to a "
            "folder of yours for the virtual environment, and give --data FOLDER for the data."
        ) from error
    with stream:
        try:
            fcntl.flock(stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            print("  Another command is making the environment; waiting for it.", flush=True)
            fcntl.flock(stream, fcntl.LOCK_EX)
        yield


def _make_empty(folder: Path) -> None:
    started = time.monotonic()
    say(f"Virtual environment {folder.name}")
    if folder.exists():
        if not (folder / "pyvenv.cfg").exists() and any(folder.iterdir()):
            raise BootstrapError(f"{folder} is not a virtual environment; it is left alone.")
        shutil.rmtree(folder)
    # An own pip costs two seconds and isn't everywhere (Debian keeps ensurepip in a package).
    venv.EnvBuilder(symlinks=True, with_pip=not _has_pip() and _has_ensurepip()).create(folder)
    if not _has_pip() and not _has_ensurepip():
        raise BootstrapError(
            "This Python has neither pip nor ensurepip. "
            "Install them, for example with: apt-get install python3-pip python3-venv"
        )
    done(started, f"Python {sys.version_info.major}.{sys.version_info.minor}")


def _install(folder: Path, lock_name: str) -> None:
    lock = LOCKS_FOLDER / f"{lock_name}.lock"
    started = time.monotonic()
    say("Installer (uv)")
    problem = _install_uv(folder)
    done(started, problem and "not to be had; pip does it, more slowly")
    started = time.monotonic()
    say(f"Packages of {lock.name}")
    if not problem:
        problem = _run(_uv_command(folder, lock), uv_environment(os.environ, pip_settings()))
        if problem:
            print("\n    uv could not install them; trying pip", flush=True)
    if problem:
        problem = _run(
            [*_pip(folder), "install", "-q", "--require-hashes", "-r", str(lock)], os.environ
        )
        if problem:
            raise BootstrapError(f"The packages can't be installed.\n{problem}")
    done(started)


def _has_pip() -> bool:
    return _run([sys.executable, "-m", "pip", "--python", sys.executable, "-V"], os.environ) == ""


def _has_ensurepip() -> bool:
    return _run([sys.executable, "-c", "import ensurepip"], os.environ) == ""


def _pip(folder: Path) -> list[str]:
    python = str(folder / "bin" / "python")
    if _run([python, "-m", "pip", "-V"], os.environ) == "":
        return [python, "-m", "pip"]
    return [sys.executable, "-m", "pip", "--python", python]


def _install_uv(folder: Path) -> str:
    lock = LOCKS_FOLDER / "boot.lock"
    if (folder / "bin" / "uv").exists():
        return ""
    return _run([*_pip(folder), "install", "-q", "--require-hashes", "-r", str(lock)], os.environ)


def _uv_command(folder: Path, lock: Path) -> list[str]:
    return [
        *[str(folder / "bin" / "uv"), "pip", "install", "--quiet", "--require-hashes"],
        # Hashes say what is right; with several indexes, any that has it will do.
        *["--index-strategy", "unsafe-best-match"],
        *["--python", str(folder / "bin" / "python"), "-r", str(lock)],
    ]


def _run(command: list[str], environment: Mapping[str, str]) -> str:
    """Run a command; return nothing when it went well, else the end of what it said."""
    result = subprocess.run(
        command,
        env=dict(environment),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    if result.returncode == 0:
        return ""
    return result.stdout.strip()[-3000:] or f"{command[0]} ended with {result.returncode}"


def pip_settings() -> dict[str, str]:
    """pip's settings from its files and the environment, by their long option names."""
    result = subprocess.run(
        [sys.executable, "-m", "pip", "config", "list"],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        check=False,
    )
    return parse_pip_settings(result.stdout)


def parse_pip_settings(text: str) -> dict[str, str]:
    """Read the output of `pip config list`, where the environment (":env:") beats the files."""
    settings: dict[str, str] = {}
    from_environment: dict[str, str] = {}
    for line in text.splitlines():
        name, equals, value = line.partition("=")
        section, _, option = name.rpartition(".")
        if not equals or section not in {":env:", "global", "install"}:
            continue
        target = from_environment if section == ":env:" else settings
        target[option.replace("_", "-")] = value.strip().strip("'\"")
    return settings | from_environment


def uv_environment(environment: Mapping[str, str], pip: Mapping[str, str]) -> dict[str, str]:
    """The environment for uv: the present one, and pip's settings where uv has none of its own."""
    result = dict(environment)
    for option, variable in PIP_TO_UV.items():
        value = pip.get(option)
        if not value or variable in result:
            continue
        separator = "," if option == "find-links" else " "
        # pip's files wrap several values over lines.
        result[variable] = separator.join(value.replace("\\n", " ").split())
    return result


def hand_over(lock_name: str, module: str) -> None:
    """Make the environment, then become `module` in it, with the same arguments and folder."""
    try:
        python = make_environment(lock_name)
    except BootstrapError as error:
        print(f"\n{error}", file=sys.stderr)
        sys.exit(1)
    except KeyboardInterrupt:
        print("\nStopped; the next start goes on from here.", file=sys.stderr)
        sys.exit(130)
    path = os.pathsep.join(filter(None, [str(PROJECT_FOLDER), os.environ.get("PYTHONPATH")]))
    os.environ["PYTHONPATH"] = path
    os.execv(python, [str(python), "-m", module, *sys.argv[1:]])
