from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from deploy.embedded import prepare
from deploy.embedded.data_folder import DataFolder
from tests.factories import CompanyFactory


@pytest.fixture
def commands(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The names of the commands that were called, none of which does anything."""
    called: list[str] = []
    monkeypatch.setattr(prepare, "call_command", lambda name, **_: called.append(name))
    return called


@pytest.mark.django_db
def test_an_empty_database_gets_the_demo(data: DataFolder, commands: list[str]) -> None:
    prepare.load_demo(data)
    assert commands == ["load_demo"]
    assert data.noted(prepare.LOADING) == {}


@pytest.mark.django_db
def test_a_database_in_use_gets_no_demo(
    data: DataFolder, commands: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    CompanyFactory()
    prepare.load_demo(data)
    assert commands == []
    assert capsys.readouterr().out == ""


@pytest.mark.django_db
def test_a_demo_that_was_cut_off_is_told_at_the_next_start(
    data: DataFolder, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def die_halfway(name: str) -> None:
        CompanyFactory()
        raise KeyboardInterrupt

    monkeypatch.setattr(prepare, "call_command", die_halfway)
    with pytest.raises(KeyboardInterrupt):
        prepare.load_demo(data)
    prepare.load_demo(data)
    assert "deploy/up --fresh" in capsys.readouterr().out


@pytest.mark.django_db
def test_a_migrated_database_is_left_as_it_is(commands: list[str]) -> None:
    assert prepare.migrate() == "up to date"
    assert commands == []


def test_static_files_are_collected_once_and_again_when_one_changes(
    tmp_path: Path, settings: Any
) -> None:
    source, root = tmp_path / "source", tmp_path / "root"
    source.mkdir()
    (source / "look.css").write_text("a {}")
    settings.STATICFILES_DIRS = [source]
    settings.STATIC_ROOT = str(root)
    assert prepare.collect_static(root) == "collected"
    assert (root / "look.css").read_text() == "a {}"
    assert prepare.collect_static(root) == "unchanged"
    (source / "look.css").write_text("a { color: red }")
    assert prepare.collect_static(root) == "collected"
    assert (root / "look.css").read_text() == "a { color: red }"
