"""`deploy/up`: start everything on this machine, print one address, and keep it running."""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Sequence
from pathlib import Path

from deploy.embedded.console import StartUpError, complain, say, step
from deploy.embedded.data_folder import DataFolder
from deploy.embedded.handover import DEFAULT_DATA_FOLDER
from deploy.embedded.ports import LAST_PORT, listen
from deploy.embedded.programs import address_for_people
from deploy.embedded.service import STOP_ORDER, ServiceOptions, start_everything
from deploy.embedded.supervisor import StopRequested, Supervisor

DEFAULT_PORT = 8765


def parse(arguments: Sequence[str]) -> argparse.Namespace:
    """Read the command line."""
    parser = argparse.ArgumentParser(
        prog="deploy/up",
        description="Start the whole service on this machine and keep it running until Ctrl-C.",
        epilog="With DATABASE_URL or REDIS_URL set, that server is used and none is embedded.",
    )
    parser.add_argument(
        "--data",
        type=Path,
        default=DEFAULT_DATA_FOLDER,
        metavar="FOLDER",
        help="the one folder for all data (default: .eavesbook in the project)",
    )
    parser.add_argument(
        "--port",
        type=port_number,
        default=DEFAULT_PORT,
        help=f"port of the web pages (default: {DEFAULT_PORT}; another one if it is taken)",
    )
    parser.add_argument(
        "--host",
        default="127.0.0.1",
        help="address to listen on (default: 127.0.0.1, for this machine alone)",
    )
    parser.add_argument(
        "--fresh",
        action="store_true",
        help="start over: say what will be deleted, ask, delete it",
    )
    parser.add_argument("--yes", action="store_true", help="answer --fresh's question with yes")
    parser.add_argument("--no-demo", action="store_true", help="don't load the demo scenario")
    return parser.parse_args(arguments)


def port_number(text: str) -> int:
    """A port from the command line.

    Raises:
        argparse.ArgumentTypeError: it is no number from 1 to 65535.
    """
    if not text.isdigit() or not 1 <= int(text) <= LAST_PORT:
        raise argparse.ArgumentTypeError(f"{text!r} is no port; use a number from 1 to {LAST_PORT}")
    return int(text)


def main(arguments: Sequence[str]) -> int:
    """Run until stopped; return the exit code."""
    options = parse(arguments)
    started = time.monotonic()
    data = DataFolder(options.data.expanduser().absolute())
    try:
        data.open()
        lock = data.lock()
        if lock is None:
            return tell_that_it_runs(data, fresh=options.fresh)
        with lock:
            if options.fresh and not start_over(data, assume_yes=options.yes):
                return 1
            return run(data, options, started)
    except StartUpError as error:
        complain(str(error))
        return 1


def tell_that_it_runs(data: DataFolder, *, fresh: bool) -> int:
    """Say where the service of this folder is; 0 unless starting over was asked for."""
    state = data.noted("state")
    where = state.get("address", "still starting")
    say(f"Already running: {where} (process {state.get('pid', 'unknown')}, data in {data.path})")
    if fresh:
        complain("Stop it first, with Ctrl-C or a TERM signal to that process.")
        return 1
    return 0


def start_over(data: DataFolder, *, assume_yes: bool) -> bool:
    """Say what will be deleted, ask, and delete it; return whether to go on.

    Raises:
        StartUpError: the data lies in a database that isn't ours to empty.
    """
    if os.environ.get("DATABASE_URL"):
        raise StartUpError(
            "--fresh deletes embedded data only, and DATABASE_URL names another database. "
            "Unset it, or empty that database yourself."
        )
    contents = data.contents()
    if not contents:
        say(f"There is nothing to delete in {data.path}.")
        return True
    say(f"Starting over deletes, for good, in {data.path}:")
    for line in contents:
        say(f"  {line}")
    if not assume_yes and not answered_yes():
        complain("Nothing was deleted. To answer beforehand, add --yes.")
        return False
    Supervisor(data).end_left_overs()
    data.empty()
    return True


def answered_yes() -> bool:
    """Ask at the terminal; no terminal means no."""
    try:
        return input("Type yes to delete this: ").strip().lower() == "yes"
    except EOFError:
        return False


def run(data: DataFolder, options: argparse.Namespace, started: float) -> int:
    """Start everything, watch over it, stop it in order."""
    supervisor = Supervisor(data)
    supervisor.listen_for_signals()
    data.note("state", {"pid": os.getpid()})
    say(f"Eavesbook starts; its data is in {data.path}")
    try:
        with listen(options.host, options.port) as listener:
            port: int = listener.getsockname()[1]
            if port != options.port:
                say(f"  Port {options.port} is taken; using {port} instead")
            choice = ServiceOptions(host=options.host, demo=not options.no_demo)
            start_everything(supervisor, os.environ, listener, choice)
            address = address_for_people(options.host, port)
            data.note("state", {"pid": os.getpid(), "address": address})
            announce(data, address, time.monotonic() - started)
            supervisor.watch()
    except StopRequested:
        say()
    finally:
        with step("Stopping"):
            supervisor.stop(STOP_ORDER)
        data.drop_note("state")
    return 0


def announce(data: DataFolder, address: str, seconds: float) -> None:
    """The address, the demo's sign-ins, and what else is good to know."""
    say()
    say(f"Ready after {seconds:.1f} s. Open {address}")
    if not address.startswith(("http://127.", "http://localhost", "http://[::1]")):
        say("Others on the network can reach it, and what they send is not encrypted.")
    sign_ins = data.noted("sign_ins").get("sign_ins")
    if isinstance(sign_ins, list) and sign_ins:
        say()
        say("Demo sign-ins (invented people):")
        rows = [[str(cell) for cell in row] for row in sign_ins]
        widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
        for row in rows:
            cells = (cell.ljust(width) for cell, width in zip(row, widths, strict=True))
            say("  " + "  ".join(cells).rstrip())
    say()
    say(f"Logs are in {data.logs}. Ctrl-C stops everything.")
    say()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
