from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from deploy import bootstrap

LOCKS = ["boot", "runtime", "test"]


def test_settings_of_pip_are_read_and_the_environment_wins() -> None:
    said = "\n".join(
        [
            "global.index-url='https://mirror.example/simple'",
            "global.timeout='10'",
            ":env:.index-url='https://other.example/simple'",
            ":env:.find-links='/srv/wheels /srv/more'",
            "freeze.timeout='99'",
            "a line of something else",
        ]
    )
    assert bootstrap.parse_pip_settings(said) == {
        "index-url": "https://other.example/simple",
        "timeout": "10",
        "find-links": "/srv/wheels /srv/more",
    }


def test_uv_gets_the_settings_of_pip_but_keeps_its_own() -> None:
    pip = {
        "index-url": "https://mirror.example/simple",
        "find-links": "/srv/wheels /srv/more",
        "extra-index-url": "https://a.example\\nhttps://b.example",
        "cert": "/etc/ca.pem",
    }
    environment = bootstrap.uv_environment({"SSL_CERT_FILE": "/etc/mine.pem"}, pip)
    assert environment == {
        "SSL_CERT_FILE": "/etc/mine.pem",
        "UV_DEFAULT_INDEX": "https://mirror.example/simple",
        "UV_FIND_LINKS": "/srv/wheels,/srv/more",
        "UV_INDEX": "https://a.example https://b.example",
    }


def test_an_unfinished_environment_has_no_stamp(tmp_path: Path) -> None:
    assert bootstrap.read_stamp(tmp_path) == {}
    (tmp_path / bootstrap.STAMP_NAME).write_text(json.dumps({"runtime": "x"}))
    assert bootstrap.read_stamp(tmp_path) == {}
    (tmp_path / "bin").mkdir()
    (tmp_path / "bin" / "python").touch()
    assert bootstrap.read_stamp(tmp_path) == {"runtime": "x"}


def test_a_folder_that_is_no_environment_is_left_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "work"
    folder.mkdir()
    (folder / "thesis.txt").touch()
    monkeypatch.setenv("EAVESBOOK_VENV", str(folder))
    with pytest.raises(bootstrap.BootstrapError, match="left alone"):
        bootstrap.make_environment("runtime")
    assert (folder / "thesis.txt").exists()


def test_the_digest_changes_with_the_lock(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bootstrap, "LOCKS_FOLDER", tmp_path)
    (tmp_path / "runtime.lock").write_text("django==5.2.19\n")
    before = bootstrap.lock_digest("runtime")
    (tmp_path / "runtime.lock").write_text("django==5.2.20\n")
    assert bootstrap.lock_digest("runtime") != before


@pytest.mark.parametrize("name", LOCKS)
def test_every_locked_package_has_a_hash_and_no_host_is_named(name: str) -> None:
    text = (bootstrap.LOCKS_FOLDER / f"{name}.lock").read_text()
    entries = re.split(r"^(?=[A-Za-z0-9])", text, flags=re.MULTILINE)[1:]
    assert entries
    assert [entry for entry in entries if "--hash=sha256:" not in entry] == []
    assert "://" not in text


def test_the_test_lock_holds_the_runtime_lock() -> None:
    pins = {
        name: set(
            re.findall(
                r"^[A-Za-z0-9._-]+==\S+",
                (bootstrap.LOCKS_FOLDER / f"{name}.lock").read_text(),
                flags=re.MULTILINE,
            )
        )
        for name in ("runtime", "test")
    }
    assert pins["runtime"] - pins["test"] == set()
