"""A line between a phone and the office that breaks at any byte, falls silent or turns slow."""

from __future__ import annotations

import re
import select
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress

PATIENCE_S = 60.0
PIECE_BYTES = 16 * 1024
REST_COMES_S = 5.0  # what a server has begun to send it ends
HERE = "127.0.0.1"
OFFSET = re.compile(rb"(?i)\r\nUpload-Offset: (\d+)\r\n")
METHODS = (b"GET ", b"POST ", b"PATCH ", b"HEAD ", b"DELETE ")


class Line:
    """What lies between a phone and the office. It carries bytes, until it is told not to.

    Modes: "up"; "down" (every connection breaks at once); "silent" (taken, never answered, as
    with one bar of signal). `cut_after(n)` breaks everything once n more bytes went up;
    `swap` is what comes down otherwise than it was sent, of the same length;
    `lose_answer(start)` lets a request that begins so through, and breaks before its answer;
    `hold_back(start)` lets requests that begin so no further until `let_go`, however long it takes.
    `patches_from` is the Upload-Offset of every PATCH that went up, in order.
    """

    def __init__(self, to_port: int) -> None:
        self.to_port = to_port
        self.mode = "up"
        self.sent_up = 0
        self.sent_down = 0
        self.swap: tuple[bytes, bytes] | None = None
        self.latency_s = 0.0
        self.bytes_per_s: float | None = None
        self.patches_from: list[int] = []
        self._cut_at: int | None = None
        self._unanswered: bytes | None = None
        self._held_back: bytes | None = None
        self._let_go = threading.Event()
        self._lost: set[socket.socket] = set()
        self._pairs: set[tuple[socket.socket, socket.socket | None]] = set()
        self._lock = threading.Lock()
        self._narrow = {True: threading.Lock(), False: threading.Lock()}
        self._listener = socket.create_server((HERE, 0), backlog=64)
        self.port = int(self._listener.getsockname()[1])
        threading.Thread(target=self._listen, daemon=True).start()

    @property
    def address(self) -> str:
        return f"http://{HERE}:{self.port}"

    def down(self) -> None:
        self.mode = "down"
        self._break_all()

    def silent(self) -> None:
        self.mode = "silent"
        self._break_all()

    def up(self) -> None:
        if self.mode == "silent":
            self._break_all()
        self.mode = "up"

    def cut_after(self, more_bytes: int) -> None:
        """Go down once so many more bytes have been sent up."""
        with self._lock:
            self._cut_at = self.sent_up + more_bytes

    def lose_answer(self, start: bytes) -> None:
        """Go down when the answer to the next request that begins with `start` comes."""
        self._unanswered = start

    def hold_back(self, start: bytes) -> None:
        """Requests that begin so go up no further, as if the line were ever so slow."""
        self._let_go.clear()
        self._held_back = start

    def let_go(self) -> None:
        self._held_back = None
        self._let_go.set()

    def slow(self, latency_s: float, kbit_per_s: float) -> None:
        """So long before each request is answered, and so little at a time each way."""
        self.latency_s, self.bytes_per_s = latency_s, kbit_per_s * 1000 / 8

    @contextmanager
    def cut(self) -> Iterator[None]:
        self.down()
        yield
        self.up()

    def close(self) -> None:
        self.let_go()
        self.down()
        self._listener.close()

    def wait_until_down(self) -> None:
        deadline = time.monotonic() + PATIENCE_S
        while self.mode != "down":
            assert time.monotonic() < deadline, "nothing was sent that could be cut"
            time.sleep(0.01)

    def _listen(self) -> None:
        while True:
            try:
                phone, _ = self._listener.accept()
            except OSError:
                return
            threading.Thread(target=self._carry, args=(phone,), daemon=True).start()

    def _carry(self, phone: socket.socket) -> None:
        if self.mode == "down":
            return _break(phone)
        office: socket.socket | None = None
        if self.mode == "up":
            try:
                office = socket.create_connection((HERE, self.to_port))
            except OSError:
                return _break(phone)
        pair = (phone, office)
        with self._lock:
            self._pairs.add(pair)
        if office is None:
            return None
        threading.Thread(target=self._pump, args=(office, phone, False), daemon=True).start()
        self._pump(phone, office, True)
        with self._lock:
            self._pairs.discard(pair)
        return None

    def _pump(self, source: socket.socket, goal: socket.socket, is_up: bool) -> None:
        with suppress(OSError):
            while piece := source.recv(PIECE_BYTES):
                self._take_time(piece, is_up)
                if is_up:
                    if self._held_back and piece.startswith(self._held_back):
                        self._let_go.wait()
                    if piece.startswith(b"PATCH ") and (told := OFFSET.search(piece)):
                        self.patches_from.append(int(told[1]))
                    if self._unanswered and piece.startswith(self._unanswered):
                        self._lost.add(source)
                    goal.sendall(self._let_through(piece))
                elif goal in self._lost:
                    self._unanswered = None
                    self.down()
                else:
                    if self.swap:
                        piece = _whole(piece, source, self.swap[0]).replace(*self.swap)
                    self.sent_down += len(piece)
                    goal.sendall(piece)
        _break(source)
        _break(goal)

    def _take_time(self, piece: bytes, is_up: bool) -> None:
        if is_up and self.latency_s and piece.startswith(METHODS):
            time.sleep(self.latency_s)
        if self.bytes_per_s:
            with self._narrow[is_up]:
                time.sleep(len(piece) / self.bytes_per_s)

    def _let_through(self, piece: bytes) -> bytes:
        """The piece, or what still goes through before the line is cut in its midst."""
        with self._lock:  # one cut breaks the line once, whoever else was sending then
            left = len(piece) if self._cut_at is None else self._cut_at - self.sent_up
            self.sent_up += len(piece)
            if left >= len(piece):
                return piece
            self._cut_at = None
        self.down()
        return piece[: max(0, left)]

    def _break_all(self) -> None:
        with self._lock:
            pairs, self._pairs = self._pairs, set()
        for pair in pairs:
            for end in pair:
                if end is not None:
                    _break(end)


def _whole(piece: bytes, source: socket.socket, words: bytes) -> bytes:
    """The piece, and what comes after it as long as it ends in the midst of the words."""
    starts = [words[:length] for length in range(1, len(words))]
    while piece.endswith(tuple(starts)):
        more_comes, _, _ = select.select([source], [], [], REST_COMES_S)
        rest = source.recv(PIECE_BYTES) if more_comes else b""
        if not rest:  # they were not the words: nothing comes until the next request
            break
        piece += rest
    return piece


def _break(end: socket.socket) -> None:
    with suppress(OSError):
        end.shutdown(socket.SHUT_RDWR)
    with suppress(OSError):
        end.close()
