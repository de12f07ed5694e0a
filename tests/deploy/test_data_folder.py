from __future__ import annotations

import stat
from pathlib import Path

import pytest

from deploy.embedded.console import StartUpError
from deploy.embedded.data_folder import DataFolder, in_words


def test_a_new_folder_is_made_closed_to_others(tmp_path: Path) -> None:
    data = DataFolder(tmp_path / "deep" / "down")
    data.open()
    assert stat.S_IMODE(data.path.stat().st_mode) == 0o700
    assert data.media.is_dir()


def test_a_folder_with_other_things_is_refused_and_left_alone(tmp_path: Path) -> None:
    (tmp_path / "thesis.txt").write_text("years of work")
    data = DataFolder(tmp_path)
    with pytest.raises(StartUpError, match="--data"):
        data.open()
    with pytest.raises(StartUpError, match="left alone"):
        data.empty()
    assert [path.name for path in tmp_path.iterdir()] == ["thesis.txt"]


def test_a_file_is_no_data_folder(tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.write_text("")
    with pytest.raises(StartUpError, match="--data"):
        DataFolder(file).open()


def test_one_service_at_a_time(data: DataFolder) -> None:
    first = data.lock()
    assert first is not None
    assert data.lock() is None
    first.close()
    second = data.lock()
    assert second is not None
    second.close()


def test_emptying_deletes_what_was_announced_and_keeps_the_lock(data: DataFolder) -> None:
    (data.media / "loft.jpg").write_bytes(b"x" * 2500)
    (data.path / "keys" / "seal-signing.pem").write_bytes(b"x")
    before = data.secret("secret_key")
    (data.path / "my-own-note.txt").write_text("kept")
    said = "\n".join(data.contents())
    assert "photos and documents: 1 files, 2.5 kB" in said
    assert "keys and passwords: 1 files" in said
    assert "signs certificates and seals: 1 files" in said

    with data.lock() as lock:
        data.empty()
        assert data.lock() is None
        assert not lock.closed

    assert not (data.media / "loft.jpg").exists()
    assert not (data.path / "keys" / "seal-signing.pem").exists()
    assert data.secret("secret_key") != before
    assert (data.path / "my-own-note.txt").read_text() == "kept"


def test_a_new_folder_has_nothing_to_delete(data: DataFolder) -> None:
    assert data.contents() == []


def test_notes_are_kept_and_forgiven(data: DataFolder) -> None:
    data.note("state", {"pid": 7})
    assert data.noted("state") == {"pid": 7}
    (data.run / "state.json").write_text("{cut off")
    assert data.noted("state") == {}
    data.drop_note("state")
    assert not (data.run / "state.json").exists()


@pytest.mark.parametrize(
    ("size_bytes", "words"),
    [
        (0, "0 bytes"),
        (999, "999 bytes"),
        (1000, "1.0 kB"),
        (2_500_000, "2.5 MB"),
        (10**10, "10.0 GB"),
    ],
)
def test_sizes_in_words(size_bytes: int, words: str) -> None:
    assert in_words(size_bytes) == words
