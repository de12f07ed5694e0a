"""Become a server process that dies with its parent, under a chosen user.

Run as a script with the standard library alone: `launch.py SETTINGS PROGRAM [ARGUMENT...]`, where
SETTINGS is the JSON of `LaunchSettings`. It exists because these calls must happen in the child,
between fork and exec, where Python code of a larger process is fragile.

PostgreSQL refuses to run as root. Started by root it therefore runs as an existing unprivileged
user, who may be unable to pass the folders above the data (a home closed to others, say). The one
Linux capability `CAP_DAC_READ_SEARCH` or `CAP_DAC_OVERRIDE`, kept across the change of user as an
"ambient" one (capabilities(7)), lets it through without opening those folders to anybody.
"""

from __future__ import annotations

import ctypes
import json
import os
import signal
import sys
from dataclasses import asdict, dataclass

# linux/prctl.h, linux/securebits.h, linux/capability.h
PR_SET_PDEATHSIG = 1
PR_CAPBSET_DROP = 24
PR_SET_SECUREBITS = 28
PR_SET_NO_NEW_PRIVS = 38
PR_CAP_AMBIENT = 47
PR_CAP_AMBIENT_RAISE = 2
SECBIT_NO_SETUID_FIXUP = 1 << 2
CAPABILITY_VERSION_3 = 0x20080522
LAST_CAPABILITY = 63
CLONE_NEWUSER = 0x10000000
CAPABILITIES = {"dac_override": 1, "dac_read_search": 2}

COULD_NOT_LAUNCH = 126


@dataclass(frozen=True)
class LaunchSettings:
    """How the program is to run.

    `parent` is the process it must not outlive, and `death_signal` what it gets when that ends
    (Linux only). With `uid` the user is changed; `capability` names the one privilege it keeps.
    `own_namespace` runs it under that uid as seen from inside a user namespace only, where the
    present user's files still count as its own.
    """

    parent: int
    death_signal: int = signal.SIGTERM
    uid: int | None = None
    gid: int | None = None
    capability: str | None = None
    own_namespace: bool = False

    def to_json(self) -> str:
        return json.dumps(asdict(self))


class CapabilityHeader(ctypes.Structure):
    _fields_ = (("version", ctypes.c_uint32), ("pid", ctypes.c_int))


class CapabilityData(ctypes.Structure):
    _fields_ = (
        ("effective", ctypes.c_uint32),
        ("permitted", ctypes.c_uint32),
        ("inheritable", ctypes.c_uint32),
    )


def main(arguments: list[str]) -> None:
    settings = LaunchSettings(**json.loads(arguments[0]))
    program = arguments[1:]
    try:
        # A session of its own: Ctrl-C at the terminal reaches the supervisor alone.
        os.setsid()
        if sys.platform == "linux":
            change_user(settings)
            die_with_parent(settings.parent, settings.death_signal)
        elif settings.uid is not None:
            change_user_plainly(settings)
        os.execv(program[0], program)
    except OSError as error:
        print(f"{program[0]} can't be started: {error}", file=sys.stderr, flush=True)
        os._exit(COULD_NOT_LAUNCH)


def die_with_parent(parent: int, death_signal: int) -> None:
    """Ask the kernel for a signal when the parent ends, and look whether it has ended already."""
    prctl(PR_SET_PDEATHSIG, death_signal)
    if os.getppid() != parent:
        os._exit(COULD_NOT_LAUNCH)


def change_user(settings: LaunchSettings) -> None:
    """Take on the user, and at most the one capability, that the settings name."""
    if settings.uid is None or settings.gid is None:
        return
    if settings.own_namespace:
        enter_namespace(settings.uid, settings.gid)
    elif settings.capability is None:
        change_user_plainly(settings)
        prctl(PR_SET_NO_NEW_PRIVS, 1)
    else:
        number = CAPABILITIES[settings.capability]
        for other in range(LAST_CAPABILITY + 1):
            if other != number:
                prctl(PR_CAPBSET_DROP, other, missing_is_fine=True)
        # Keeps capabilities when the user changes, also in access(2), which initdb calls.
        prctl(PR_SET_SECUREBITS, SECBIT_NO_SETUID_FIXUP)
        change_user_plainly(settings)
        keep_only(number)
        prctl(PR_CAP_AMBIENT, PR_CAP_AMBIENT_RAISE, number)
        prctl(PR_SET_NO_NEW_PRIVS, 1)


def change_user_plainly(settings: LaunchSettings) -> None:
    if settings.uid is None or settings.gid is None:
        return
    os.setgroups([])
    os.setgid(settings.gid)
    os.setuid(settings.uid)


def keep_only(number: int) -> None:
    """Give up every capability but one (capset(2))."""
    bit = 1 << number
    header = CapabilityHeader(CAPABILITY_VERSION_3, 0)
    data = (CapabilityData * 2)()
    data[0] = CapabilityData(bit, bit, bit)
    check(libc().capset(ctypes.byref(header), ctypes.byref(data)), "capset")


def enter_namespace(uid: int, gid: int) -> None:
    """Appear as `uid` inside a new user namespace, and stay the present user outside of it."""
    outside_uid, outside_gid = os.geteuid(), os.getegid()
    check(libc().unshare(CLONE_NEWUSER), "unshare")
    for name, text in (
        ("setgroups", "deny"),
        ("uid_map", f"{uid} {outside_uid} 1"),
        ("gid_map", f"{gid} {outside_gid} 1"),
    ):
        with open(f"/proc/self/{name}", "w", encoding="ascii") as file:
            file.write(text)
    prctl(PR_SET_NO_NEW_PRIVS, 1)


def prctl(option: int, *values: int, missing_is_fine: bool = False) -> None:
    padded = [ctypes.c_ulong(value) for value in (*values, 0, 0, 0, 0)[:4]]
    result = libc().prctl(option, *padded)
    if not missing_is_fine:
        check(result, f"prctl({option})")


def libc() -> ctypes.CDLL:
    return ctypes.CDLL(None, use_errno=True)


def check(result: int, call: str) -> None:
    if result != 0:
        number = ctypes.get_errno()
        raise OSError(number, f"{call}: {os.strerror(number)}")


if __name__ == "__main__":
    main(sys.argv[1:])
