from __future__ import annotations

import stat
from pathlib import Path

import pytest

from deploy.embedded.private_files import make_private_folder, read_or_make_secret, write_private


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_a_private_file_is_its_owners_alone(tmp_path: Path) -> None:
    file = tmp_path / "note"
    file.write_text("open to all")
    file.chmod(0o644)
    write_private(file, "closed")
    assert file.read_text() == "closed"
    assert mode(file) == 0o600
    assert list(tmp_path.iterdir()) == [file]


def test_an_open_folder_is_closed(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    folder.mkdir(mode=0o755)
    make_private_folder(folder)
    assert mode(folder) == 0o700


def test_a_secret_is_made_once(tmp_path: Path) -> None:
    file = tmp_path / "secret_key"
    secret = read_or_make_secret(file)
    assert read_or_make_secret(file) == secret
    assert mode(file) == 0o600
    # Django wants 50 characters for its SECRET_KEY.
    assert len(secret) >= 50


@pytest.mark.parametrize("text", ["", "\n"])
def test_an_empty_secret_is_made_anew(tmp_path: Path, text: str) -> None:
    file = tmp_path / "secret_key"
    file.write_text(text)
    assert read_or_make_secret(file).strip()


def test_two_secrets_differ(tmp_path: Path) -> None:
    assert read_or_make_secret(tmp_path / "a") != read_or_make_secret(tmp_path / "b")
