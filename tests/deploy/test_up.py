from __future__ import annotations

from pathlib import Path

import pytest

from deploy.embedded.data_folder import DataFolder
from deploy.embedded.programs import address_for_people
from deploy.embedded.up import announce, main, parse


def test_options_left_out() -> None:
    options = parse([])
    assert (options.host, options.port) == ("127.0.0.1", 8765)
    assert options.data.name == ".eavesbook"
    assert not (options.fresh or options.yes or options.no_demo)


@pytest.mark.parametrize("port", ["0", "65536", "-1", "http"])
def test_a_port_that_is_none_is_refused(port: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        parse(["--port", port])
    assert "from 1 to 65535" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("host", "address"),
    [("127.0.0.1", "http://127.0.0.1:80/"), ("::1", "http://[::1]:80/")],
)
def test_the_address_to_open(host: str, address: str) -> None:
    assert address_for_people(host, 80) == address


def test_a_second_start_says_where_the_first_is(
    data: DataFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    data.note("state", {"pid": 4711, "address": "http://127.0.0.1:8765/"})
    with data.lock():
        assert main(["--data", str(data.path)]) == 0
    said = capsys.readouterr().out
    assert "Already running: http://127.0.0.1:8765/ (process 4711" in said


def test_starting_over_is_refused_while_it_runs(
    data: DataFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    (data.media / "loft.jpg").touch()
    with data.lock():
        assert main(["--data", str(data.path), "--fresh", "--yes"]) == 1
    assert "Stop it first" in capsys.readouterr().err
    assert (data.media / "loft.jpg").exists()


@pytest.mark.parametrize("answer", ["no", "y", "", None])
def test_starting_over_without_a_typed_yes_deletes_nothing(
    data: DataFolder,
    answer: str | None,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def reply(prompt: str) -> str:
        if answer is None:
            raise EOFError
        return answer

    monkeypatch.setattr("builtins.input", reply)
    monkeypatch.delenv("DATABASE_URL", raising=False)
    (data.media / "loft.jpg").touch()
    assert main(["--data", str(data.path), "--fresh"]) == 1
    shown = capsys.readouterr()
    assert "photos and documents: 1 files" in shown.out
    assert "Nothing was deleted" in shown.err
    assert (data.media / "loft.jpg").exists()


def test_starting_over_leaves_a_database_of_ones_own(
    data: DataFolder, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("DATABASE_URL", "postgres://db.example/book")
    (data.media / "loft.jpg").touch()
    assert main(["--data", str(data.path), "--fresh", "--yes"]) == 1
    assert "DATABASE_URL" in capsys.readouterr().err
    assert (data.media / "loft.jpg").exists()


def test_a_folder_with_other_things_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "thesis.txt").touch()
    assert main(["--data", str(tmp_path)]) == 1
    assert "holds other things" in capsys.readouterr().err


def test_the_announcement_lists_sign_ins_and_warns_of_the_network(
    data: DataFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    data.note("sign_ins", {"sign_ins": [["Ada", "planner", "ada@demo.example", "loft-270"]]})
    announce(data, "http://192.0.2.7:8765/", 12.34)
    said = capsys.readouterr().out
    assert "Ready after 12.3 s. Open http://192.0.2.7:8765/" in said
    assert "not encrypted" in said
    assert "Ada  planner  ada@demo.example  loft-270" in said
