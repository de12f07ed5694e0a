"""What goes between the planner's process and those beside it: lengths, then pickled objects.

Both ends are this program and nobody else has the line, so what is unpickled is our own. A problem
is handed over as an open file, since it is too large for a socket that nobody reads yet.
"""

from __future__ import annotations

import io
import pickle
import socket
import struct
from dataclasses import dataclass
from types import MappingProxyType
from typing import IO, Any

from jobs.planning.problem import PlanProblem
from jobs.planning.solving.part_work import PartAnswer
from jobs.planning.solving.parts import Part

LENGTH = struct.Struct(">I")


class Ended(Exception):
    """The other side is gone."""


@dataclass(frozen=True, slots=True)
class Ready:
    """The process beside has read the problem."""


@dataclass(frozen=True, slots=True)
class Begin:
    """Improve this part of this draft (`Draft.packed`, None: the draft of the part before)."""

    part: Part
    draft: dict[str, Any] | None


@dataclass(frozen=True, slots=True)
class Cease:
    """End the part under way now and answer with what there is."""


@dataclass(frozen=True, slots=True)
class Done:
    """A part's answer. `took_s`: processor seconds."""

    answer: PartAnswer
    took_s: float


class _Pickler(pickle.Pickler):
    """Pickles read-only mappings too, which a problem has for visits without stock."""

    def reducer_override(self, thing: Any) -> Any:
        if isinstance(thing, MappingProxyType):
            return _read_only, (dict(thing),)
        return NotImplemented


def _read_only(thing: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(thing)


def write_problem(problem: PlanProblem, file: IO[bytes]) -> None:
    """Write the problem for another process to read."""
    _Pickler(file, protocol=5).dump(problem)


def read_problem(file: IO[bytes]) -> PlanProblem:
    """The problem that `write_problem` wrote."""
    problem = pickle.load(file)
    assert isinstance(problem, PlanProblem)
    return problem


def send(channel: socket.socket, message: object) -> None:
    """Send a message. Raises Ended."""
    body = io.BytesIO()
    _Pickler(body, protocol=5).dump(message)
    text = body.getvalue()
    try:
        channel.sendall(LENGTH.pack(len(text)))
        channel.sendall(text)
    except OSError as error:
        raise Ended from error


def receive(channel: socket.socket) -> Any:
    """The next message; waits for it. Raises Ended."""
    (length,) = LENGTH.unpack(_exactly(channel, LENGTH.size))
    return pickle.loads(_exactly(channel, length))


def _exactly(channel: socket.socket, size: int) -> bytes:
    parts = bytearray()
    while len(parts) < size:
        try:
            chunk = channel.recv(min(size - len(parts), 1 << 20))
        except OSError as error:
            raise Ended from error
        if not chunk:
            raise Ended
        parts += chunk
    return bytes(parts)
