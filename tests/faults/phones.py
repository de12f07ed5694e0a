"""Phones that send photos through whatever happens, and remember what they were told."""

from __future__ import annotations

import base64
import hashlib
import http.client
import random
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from threading import Event, Thread
from typing import Any
from urllib.parse import urlsplit
from uuid import UUID

from tests.jobs.tus import BODY_TYPE, encoded

LOST = (OSError, http.client.HTTPException)
PAUSE_S = 0.05
ANSWER_S = 25.0


@dataclass
class Sent:
    """A photo and what the office said of it. told: the photo ids of every acknowledgement."""

    visit: int
    key: UUID
    content: bytes
    told: list[int] = field(default_factory=list)
    url: str = ""
    stored_to: int = 0

    @property
    def sha256(self) -> str:
        return hashlib.sha256(self.content).hexdigest()


@dataclass
class Phone:
    """One phone: a thread that sends one photo after another until told to finish."""

    seeded: dict[str, Any]
    port: int
    seed: int
    picture: bytes
    finish: Event
    photos: list[Sent] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    resumed: int = 0
    again: float = 0.25
    """How often it sends a photo twice, since the answer may have been lost."""
    line: http.client.HTTPConnection | None = None

    def __post_init__(self) -> None:
        self.chance = random.Random(self.seed)
        self.thread = Thread(target=self.work, daemon=True)

    def work(self) -> None:
        try:
            while not self.finish.is_set():
                photo = self.take_photo()
                self.photos.append(photo)
                self.send(photo)
                if self.chance.random() < self.again:
                    photo.url = ""
                    self.send(photo)
        except AssertionError as error:
            self.wrong.append(str(error))

    def take_photo(self) -> Sent:
        """The picture with other words in it (JPEG comment segments), so other bytes."""
        words = self.chance.randbytes(self.chance.randrange(100, 60_000))
        segments = b"\xff\xfe" + (len(words) + 2).to_bytes(2, "big") + words
        content = self.picture[:2] + segments * self.chance.randrange(1, 5) + self.picture[2:]
        return Sent(self.seeded["visit"], UUID(bytes=self.chance.randbytes(16), version=4), content)

    def send(self, photo: Sent) -> None:
        """Go on until the office has the photo for good."""
        acknowledged = len(photo.told)
        while len(photo.told) == acknowledged:
            try:
                self.go_on(photo)
            except LOST:
                self.line = None
                time.sleep(PAUSE_S * self.chance.random())

    def go_on(self, photo: Sent) -> None:
        if not photo.url:
            self.begin(photo)
            return
        answer = self.ask("HEAD", photo.url)
        if answer.status != 200:
            assert answer.status >= 500, f"HEAD of an upload under way gave {answer.status}"
            return
        offset = int(answer.headers["Upload-Offset"])
        assert offset >= photo.stored_to, f"the office forgot: {offset} after {photo.stored_to}"
        if self.heard(photo, answer):
            return
        assert offset < len(photo.content), "whole, but no photo"
        self.resumed += offset > 0
        self.send_from(photo, offset)

    def begin(self, photo: Sent) -> None:
        told = {
            "visit": photo.visit,
            "moment": "before",
            "point_label": "P1",
            "client_key": photo.key,
            "phone_sent_at": "2026-11-25T12:00:00Z",
        }
        answer = self.ask(
            "POST",
            "/uploads/",
            Upload_Length=len(photo.content),
            Upload_Metadata=encoded(told),
        )
        if answer.status == 201:
            photo.url, photo.stored_to = urlsplit(answer.headers["Location"]).path, 0
            self.heard(photo, answer)
        else:
            assert answer.status >= 500, f"POST gave {answer.status}"

    def send_from(self, photo: Sent, offset: int) -> None:
        while True:
            piece = photo.content[offset : offset + self.chance.randrange(20_000, 120_000)]
            checked: dict[str, Any] = {}
            if self.chance.random() < 0.5:
                digest = base64.b64encode(hashlib.sha256(piece).digest()).decode()
                checked["Upload_Checksum"] = f"sha256 {digest}"
            answer = self.ask(
                "PATCH", photo.url, self.slowly(piece), Content_Type=BODY_TYPE,
                Content_Length=len(piece), Upload_Offset=offset, **checked,
            )  # fmt: skip
            if answer.status != 204:
                assert answer.status in (408, 409, 423) or answer.status >= 500, (
                    f"PATCH gave {answer.status}"
                )
                return
            offset += len(piece)
            said = int(answer.headers["Upload-Offset"])
            assert said == offset, f"{offset} bytes sent, it was called {said}"
            photo.stored_to = offset
            if self.heard(photo, answer):
                return

    def slowly(self, piece: bytes) -> Iterator[bytes]:
        for at in range(0, len(piece), 16_384):
            yield piece[at : at + 16_384]
            if self.chance.random() < 0.2:
                time.sleep(0.01)

    def heard(self, photo: Sent, answer: Any) -> bool:
        if "Photo-Id" not in answer.headers:
            return False
        photo.told.append(int(answer.headers["Photo-Id"]))
        return True

    def ask(self, method: str, url: str, body: Any = None, **headers: Any) -> Any:
        if self.line is None:
            self.line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=ANSWER_S)
        sent = {name.replace("_", "-"): str(value) for name, value in headers.items()}
        sent |= {"Tus-Resumable": "1.0.0", "Authorization": f"Token {self.seeded['token']}"}
        try:
            self.line.request(method, url, body, sent)
            answer = self.line.getresponse()
            answer.read()
        except BaseException:
            self.line.close()
            raise
        return answer
