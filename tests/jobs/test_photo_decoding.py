"""The process that opens photos: bound, replaceable, and nobody else's worry."""

from __future__ import annotations

import io
import os
import signal
import subprocess
import sys
import time

import pytest

from deploy.embedded.handover import PROJECT_FOLDER
from jobs.errors import Refused
from jobs.evidence.decoding import client
from jobs.evidence.decoding.client import CannotOpen, Decoder, DecoderDown, grey_sample, see
from jobs.evidence.decoding.messages import Ended
from jobs.evidence.decoding.probing import require_decodable
from jobs.evidence.media_types import JPEG
from tests.pictures import loft_jpeg

CONTENT = loft_jpeg(2)


@pytest.fixture
def decoder():
    decoder = Decoder()
    yield decoder
    decoder.stop()


def ask(decoder: Decoder, content: bytes = CONTENT) -> int:
    told, _ = decoder.ask("probe", io.BytesIO(content), JPEG)
    width: int = told["width_px"]
    return width


def bound(code: str, seconds: int = 20) -> subprocess.CompletedProcess[str]:
    """Run this in a process that is bound as the decoding process is."""
    begin = (
        "from jobs.evidence.decoding import limits\n"
        f"limits.PROCESSOR_SECONDS = {seconds}\n"
        "limits.bind_process(); limits.allow_one_photo()\n"
    )
    return subprocess.run(
        [sys.executable, "-c", begin + code],
        cwd=PROJECT_FOLDER,
        capture_output=True,
        text=True,
        check=False,
    )


def test_no_more_memory_than_a_photo_may_take():
    ended = bound("try:\n bytearray(1_700_000_000)\nexcept MemoryError:\n print('no room')")

    assert ended.stdout == "no room\n"


def test_no_file_may_be_written(tmp_path):
    ended = bound(f"open({str(tmp_path / 'x')!r}, 'wb', 0).write(b'words')")

    assert ended.returncode != 0
    assert not (tmp_path / "x").exists() or (tmp_path / "x").stat().st_size == 0


def test_no_more_processor_time_than_a_photo_may_take():
    ended = bound("while True: pass", seconds=1)

    assert ended.returncode == -signal.SIGXCPU


def test_one_process_opens_many_photos_and_is_replaced_in_time(decoder, monkeypatch):
    monkeypatch.setattr(client, "PHOTOS_A_PROCESS", 3)
    numbers = []
    for _ in range(4):
        assert ask(decoder) == 1200
        numbers.append(decoder.process.pid)

    assert numbers[0] == numbers[1] == numbers[2] != numbers[3]


def test_a_killed_process_is_started_again(decoder):
    ask(decoder)
    decoder.process.kill()

    assert ask(decoder) == 1200


def test_a_photo_that_ends_the_process_twice_is_given_up_and_the_next_one_is_opened(
    decoder, monkeypatch
):
    with monkeypatch.context() as patched:
        patched.setattr(client, "receive", dying(decoder, client.receive))
        with pytest.raises(CannotOpen) as error:
            ask(decoder)

    assert error.value.trouble == client.GAVE_UP
    assert ask(decoder) == 1200


def dying(decoder: Decoder, plain_receive):
    """As if the process ended over every photo, though it starts well."""
    started = []

    def receive(channel):
        if decoder.process.pid not in started:
            started.append(decoder.process.pid)
            return plain_receive(channel)
        decoder.process.kill()
        raise Ended

    return receive


def test_a_photo_that_takes_too_long_is_given_up(decoder, monkeypatch):
    monkeypatch.setattr(client, "WALL_SECONDS", 0.3)
    ask(decoder)
    os.kill(decoder.process.pid, signal.SIGSTOP)
    began = time.monotonic()

    with pytest.raises(CannotOpen) as error:
        ask(decoder)

    assert error.value.trouble == client.GAVE_UP
    assert time.monotonic() - began < client.START_SECONDS
    assert ask(decoder) == 1200


def test_that_no_process_starts_is_not_the_photos_doing(decoder, monkeypatch):
    monkeypatch.setattr(client.sys, "executable", "/bin/false")

    with pytest.raises(DecoderDown):
        ask(decoder)


def test_the_process_knows_no_secret(decoder, monkeypatch):
    monkeypatch.setenv("SECRET_KEY", "of-the-service")
    ask(decoder)

    with open(f"/proc/{decoder.process.pid}/environ", "rb") as file:
        told = file.read()
    assert b"of-the-service" not in told
    assert b"DATABASE_URL" not in told


def test_the_process_ends_with_the_service(decoder):
    ask(decoder)

    decoder.channel.close()

    assert decoder.process.wait(timeout=60) == 0


def test_a_photo_too_hungry_is_refused_in_words(monkeypatch):
    def hungry(*_):
        raise CannotOpen(client.MEMORY)

    monkeypatch.setattr("jobs.evidence.decoding.probing.size_of", hungry)

    with pytest.raises(Refused, match="too many pixels") as refusal:
        require_decodable(io.BytesIO(CONTENT), JPEG)
    assert refusal.value.remedy


def test_a_small_copy_is_compared_by_its_grey_values():
    seen = see(io.BytesIO(CONTENT), JPEG)

    sample = grey_sample(io.BytesIO(seen.thumb))

    assert sample.shape == seen.look.sample.shape == (96, 128)
    assert abs(sample.astype(int) - seen.look.sample.astype(int)).mean() < 3
