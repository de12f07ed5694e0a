"""Uploads through the real web server: read while they come, kept when the line breaks."""

from __future__ import annotations

import asyncio
import http.client
import os
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextvars import ContextVar
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import psutil
import pytest
from rest_framework.authtoken.models import Token

from deploy.embedded.handover import PROJECT_FOLDER
from deploy.streamed_bodies import StreamedBody
from jobs.models import Photo, Upload
from tests.conftest import url_of_test_database
from tests.deploy.conftest import wait_until
from tests.jobs.on_site_scene import Scene, booked_scene
from tests.jobs.tus import BODY_TYPE, encoded, told_of
from tests.pictures import loft_jpeg

CONTENT = loft_jpeg(3)
LARGE_BYTES = 50_000_000
WHAT_A_SERVER_MAY_GROW_BY = 24_000_000


@pytest.fixture
def scene(transactional_db: None) -> Scene:
    return booked_scene()


@pytest.fixture
def web(scene: Scene, settings: Any, tmp_path: Path) -> Iterator[tuple[psutil.Process, int]]:
    """A web process on the test's own database; its port."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen(64)
        environment = {
            **os.environ,
            "DATABASE_URL": url_of_test_database(),
            "EAVESBOOK_TEST_FOLDER": str(settings.TEST_FOLDER),
        }
        command = [sys.executable, "-m", "uvicorn", "deploy.asgi:application"]
        command += ["--fd", str(listener.fileno()), "--lifespan", "off", "--no-access-log"]
        with (tmp_path / "web.log").open("wb") as log:
            process = subprocess.Popen(
                command,
                cwd=PROJECT_FOLDER,
                env=environment,
                pass_fds=[listener.fileno()],
                stdout=log,
                stderr=log,
            )
        yield psutil.Process(process.pid), listener.getsockname()[1]
        process.terminate()
        process.wait(timeout=30)


class Sender:
    def __init__(self, scene: Scene, port: int) -> None:
        self.token = Token.objects.create(user=scene.installer).key
        self.scene, self.port = scene, port

    def headers(self, **more: Any) -> dict[str, str]:
        named = {name.replace("_", "-"): str(value) for name, value in more.items()}
        return {"Tus-Resumable": "1.0.0", "Authorization": f"Token {self.token}", **named}

    def ask(self, method: str, url: str, body: Any = None, **more: Any) -> Any:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=120)
        connection.request(method, url, body, self.headers(**more))
        answer = connection.getresponse()
        answer.read()
        connection.close()
        return answer

    def begin(self, length: int) -> str:
        metadata = encoded(told_of(self.scene.visit))
        answer = self.ask("POST", "/uploads/", Upload_Length=length, Upload_Metadata=metadata)
        assert answer.status == 201
        return urlsplit(answer.headers["Location"]).path

    def patch(self, url: str, offset: int, body: Any, **more: Any) -> Any:
        sent = {"Content_Type": BODY_TYPE, "Upload_Offset": offset, **more}
        return self.ask("PATCH", url, body, **sent)

    def begin_patch(self, url: str, offset: int, length: int, **more: Any) -> socket.socket:
        """A PATCH whose head is sent and whose body is to follow."""
        told = self.headers(
            Host="localhost", Content_Type=BODY_TYPE, Content_Length=length, Upload_Offset=offset,
            **more,
        )  # fmt: skip
        lines = [f"PATCH {url} HTTP/1.1", *(f"{n}: {v}" for n, v in told.items()), "", ""]
        line = socket.create_connection(("127.0.0.1", self.port), timeout=60)
        line.sendall("\r\n".join(lines).encode())
        return line


@pytest.fixture
def sender(scene: Scene, web: tuple[psutil.Process, int]) -> Sender:
    return Sender(scene, web[1])


@pytest.mark.django_db(transaction=True)
def test_what_came_before_the_line_broke_is_there(scene: Scene, sender: Sender) -> None:
    """Requests, PATCH of the tus protocol: store as much of the received data as possible."""
    url = sender.begin(len(CONTENT))
    line = sender.begin_patch(url, 0, len(CONTENT))
    line.sendall(CONTENT[:30_000])
    wait_until(lambda: "" if arrived(url) else "nothing was read yet")
    line.close()

    wait_until(lambda: "" if Upload.objects.get().offset_bytes else "nothing counts yet")
    offset = int(sender.ask("HEAD", url).headers["Upload-Offset"])
    assert 0 < offset <= 30_000
    assert sender.patch(url, offset, CONTENT[offset:]).headers["Photo-Id"]
    assert Photo.objects.get().size_bytes == len(CONTENT)


def arrived(url: str) -> bool:
    from django.core.files.storage import default_storage

    folder = Path(default_storage.path("partial")) / url.strip("/").rpartition("/")[2]
    return any(file.stat().st_size for file in folder.glob("*"))


def test_nothing_of_a_request_stays_on_its_line() -> None:
    """The server listens on in the context in which it was asked for more of the body."""
    whose: ContextVar[str] = ContextVar("whose", default="nobody's")
    seen: list[str] = []

    async def receive() -> dict[str, Any]:
        seen.append(whose.get())
        return {"type": "http.request", "body": b"piece", "more_body": False}

    def view(body: StreamedBody) -> bytes:
        whose.set("an installer's")
        return body.read()

    async def handled() -> bytes:
        body = StreamedBody(receive, asyncio.get_running_loop())
        return await asyncio.to_thread(view, body)

    assert asyncio.run(handled()) == b"piece"
    assert seen == ["nobody's"]


@pytest.mark.django_db(transaction=True)
def test_who_may_not_send_is_told_before_the_body_comes(sender: Sender) -> None:
    """Creation With Upload: early feedback by Expect: 100-continue."""
    line = sender.begin_patch("/uploads/00000000-0000-4000-8000-000000000000/", 0, 40_000_000)

    assert line.recv(4096).startswith(b"HTTP/1.1 404")
    line.close()


@pytest.mark.django_db(transaction=True)
def test_two_at_once_are_423_and_a_large_body_takes_little_memory(
    sender: Sender, web: tuple[psutil.Process, int]
) -> None:
    head = CONTENT[:1000]
    small = sender.begin(len(CONTENT))
    assert sender.patch(small, 0, CONTENT).status == 204
    before = web[0].memory_info().rss
    url = sender.begin(LARGE_BYTES + 1)
    line = sender.begin_patch(url, 0, LARGE_BYTES, Connection="close")
    line.sendall(head)
    wait_until(lambda: "" if arrived(url) else "nothing was read yet")
    assert sender.patch(url, 0, CONTENT).status == 423

    most, left = 0, LARGE_BYTES - len(head)
    block = bytes(1_000_000)
    while left:
        line.sendall(block[: min(left, len(block))])
        left -= min(left, len(block))
        most = max(most, web[0].memory_info().rss)

    assert line.recv(4096).startswith(b"HTTP/1.1 204")
    line.close()
    assert Upload.objects.get(length_bytes=LARGE_BYTES + 1).offset_bytes == LARGE_BYTES
    assert most - before < WHAT_A_SERVER_MAY_GROW_BY
