"""`python -m compliance.verify`: alone in a process, with exit codes that a script can use."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client

from compliance.ledger.seals import make_seal
from compliance.verify.__main__ import NOT_CHECKED, NOT_SOUND, SOUND, main
from tests.compliance.pack_scene import stored_photo
from tests.compliance.scene import Scene, certified_scene, fitted

ROOT = Path(__file__).parents[2]
NO_DJANGO = """
import sys
class Refuse:
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] in ("django", "psycopg", "celery", "jobs", "calculations"):
            raise AssertionError(f"{name} was imported")
sys.meta_path.insert(0, Refuse())
from compliance.verify.__main__ import main
sys.exit(main())
"""


@pytest.fixture
def packed(db: None, tmp_path: Path, client: Client) -> tuple[Scene, Path, Path]:
    """A job, its pack as a zip, and the key of the service as anybody fetches it."""
    scene, _ = certified_scene(photo=stored_photo)
    out, key = tmp_path / "pack.zip", tmp_path / "key.pem"
    call_command("export_pack", str(out), job=[scene.job.pk], stdout=io.StringIO())
    key.write_bytes(client.get("/ledger/key.pem").content)
    return scene, out, key


def test_it_runs_alone_without_django_or_a_database(packed: Any):
    _, pack, key = packed
    environment = {"PATH": os.environ["PATH"], "PYTHONPATH": str(ROOT)}

    run = subprocess.run(
        [sys.executable, "-c", NO_DJANGO, str(pack), "--key", str(key)],
        env=environment,
        capture_output=True,
        text=True,
        cwd="/",
        check=False,
    )

    assert run.returncode == SOUND, run.stderr + run.stdout
    assert "Sound: everything is as it was recorded." in run.stdout


def test_a_damaged_pack_ends_with_one_and_names_what_is_wrong(packed: Any, capsys: Any):
    _, pack, key = packed
    content = bytearray(pack.read_bytes())
    at = content.index(b"%PDF-")  # stored as it is, so a byte of it stands in the zip
    content[at + 2000] ^= 1
    pack.write_bytes(content)

    assert main([str(pack), "--key", str(key)]) == NOT_SOUND
    assert ".pdf" in capsys.readouterr().out


def test_a_pack_cut_off_ends_with_one(packed: Any, capsys: Any):
    _, pack, key = packed
    pack.write_bytes(pack.read_bytes()[:-100])

    assert main([str(pack), "--key", str(key)]) == NOT_SOUND
    assert "is no whole zip" in capsys.readouterr().out


def test_another_key_ends_with_one(packed: Any, capsys: Any, tmp_path: Path):
    _, pack, _ = packed
    other = tmp_path / "other.txt"
    other.write_text("ab" * 32)

    assert main([str(pack), "--key", str(other)]) == NOT_SOUND
    assert "a key that you did not give" in capsys.readouterr().out


@pytest.mark.parametrize("missing", ["pack", "key"])
def test_what_cannot_be_read_ends_with_two(packed: Any, capsys: Any, missing: str):
    _, pack, key = packed
    {"pack": pack, "key": key}[missing].unlink()

    assert main([str(pack), "--key", str(key)]) == NOT_CHECKED
    assert "Not checked." in capsys.readouterr().err


def test_a_file_without_a_key_says_where_to_get_one(packed: Any, capsys: Any):
    _, pack, key = packed
    key.write_text("nothing")

    assert main([str(pack), "--key", str(key)]) == NOT_CHECKED
    assert "holds no Ed25519 public key" in capsys.readouterr().err


@pytest.mark.django_db(transaction=True)
def test_a_service_is_checked_by_its_open_addresses(
    live_server: Any, tmp_path: Path, capsys: Any, client: Client
):
    """No account: Seals, the proofs between them, the key, and a Seal that was kept."""
    fitted()
    early = make_seal()
    fitted()
    make_seal()
    key, kept = tmp_path / "key.pem", tmp_path / "seal.txt"
    key.write_bytes(client.get("/ledger/key.pem").content)
    kept.write_bytes(client.get(f"/ledger/seals/{early.pk}.txt").content)

    assert main([live_server.url, "--key", str(key), "--seal", str(kept)]) == SOUND
    assert "2 Seals" in capsys.readouterr().out

    kept.write_text(kept.read_text().replace("tree size: ", "tree size: 9"))
    assert main([live_server.url, "--key", str(key), "--seal", str(kept)]) == NOT_SOUND


def test_no_answer_ends_with_two(tmp_path: Path, capsys: Any):
    key = tmp_path / "key.txt"
    key.write_text("ab" * 32)

    assert main(["http://127.0.0.1:9", "--key", str(key)]) == NOT_CHECKED
    assert "cannot be fetched" in capsys.readouterr().err
