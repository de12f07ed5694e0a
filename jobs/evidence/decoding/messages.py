"""What goes between the service and the decoding process: JSON with bytes behind it. No Django.

A message is its length (4 bytes), a JSON object, and the blobs whose sizes stand in it. A file is
handed over as an open descriptor, so the process needs no access to any folder.
"""

from __future__ import annotations

import json
import socket
import struct
from collections.abc import Mapping, Sequence
from typing import Any

LENGTH = struct.Struct(">I")
LONGEST_JSON = 1_000_000
LONGEST_BLOB = 30_000_000


class Ended(Exception):
    """The other side is gone, or speaks nonsense."""


def send(
    channel: socket.socket,
    message: Mapping[str, Any],
    blobs: Sequence[bytes] = (),
    files: Sequence[int] = (),
) -> None:
    text = json.dumps({**message, "blobs": [len(blob) for blob in blobs]}).encode()
    head = LENGTH.pack(len(text))
    if files:
        socket.send_fds(channel, [head], list(files))
    else:
        channel.sendall(head)
    channel.sendall(text)
    for blob in blobs:
        channel.sendall(blob)


def receive(channel: socket.socket) -> tuple[dict[str, Any], list[bytes], list[int]]:
    """The next message, its blobs and descriptors. Raises Ended."""
    head, files, _, _ = socket.recv_fds(channel, LENGTH.size, 1)
    head += _exactly(channel, LENGTH.size - len(head)) if head else b""
    if not head:
        raise Ended
    (length,) = LENGTH.unpack(head)
    if length > LONGEST_JSON:
        raise Ended
    message = json.loads(_exactly(channel, length))
    sizes = message.pop("blobs")
    if not all(isinstance(size, int) and 0 <= size <= LONGEST_BLOB for size in sizes):
        raise Ended
    return message, [_exactly(channel, size) for size in sizes], list(files)


def _exactly(channel: socket.socket, size: int) -> bytes:
    parts = bytearray()
    while len(parts) < size:
        chunk = channel.recv(min(size - len(parts), 1 << 20))
        if not chunk:
            raise Ended
        parts += chunk
    return bytes(parts)
