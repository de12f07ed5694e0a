"""The pack of an audit round: what is in it, who may take it, and what its check finds."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db import transaction
from django.test import Client
from django.utils import timezone

from compliance.audits.pack import round_scope
from compliance.audits.pack_pages import _value, pages_of
from compliance.audits.remeasuring import Again, readings_to_measure, remeasure
from compliance.audits.rounds import commit_round
from compliance.models import EvidenceAccess
from compliance.verify import layout
from jobs.errors import Conflict
from tests.compliance.audit_scene import ANSWER_FILE, ReadRound, read_round
from tests.compliance.pack_scene import check, files_of, own_key
from tests.compliance.reading_scene import audit_scene
from tests.compliance.tampering import insider
from tests.compliance.test_audit_rounds import terms
from tests.factories import PhotoFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def scene(django_db_setup: None, django_db_blocker: Any) -> Iterator[ReadRound]:
    with django_db_blocker.unblock(), transaction.atomic():
        yield read_round()
        transaction.set_rollback(True)


@pytest.fixture(scope="module")
def packed(scene: ReadRound) -> dict[str, bytes]:
    return files_of(round_scope(scene.record, scene.auditor))


@pytest.fixture
def files(packed: dict[str, bytes]) -> dict[str, bytes]:
    return dict(packed)


def listed(files: dict[str, bytes], name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(files[f"{layout.AUDIT}lists/{name}.csv"].decode())))


def test_it_is_sound_repeats_the_draw_and_can_be_read(scene: ReadRound, files):
    report = check(files)

    assert report.sound, report
    assert "The draw of the round was repeated, and gives the same jobs." in report.notes
    assert f"{scene.record.seal} was the first over the population".replace(
        "Seal over", f"Seal {scene.record.seal_id} over"
    ) in str(report)
    assert report.photos == 12 and report.certificates == 3
    assert files[f"{layout.AUDIT}report.pdf"].startswith(b"%PDF")
    assert {row["job"] for row in listed(files, "drawn")} == {j.reference for j in scene.jobs}
    assert [row["class"] for row in listed(files, "findings")].count("sound") == 1
    assert listed(files, "answers")[0]["text"] == "Put right on the same day."
    assert len(listed(files, "readings")) == report_count(files, "jobs_depthreading")
    page = files[f"{layout.AUDIT}jobs/{scene.jobs[0].reference}.html"].decode()
    assert "Gap in the major place." in page and "Put right on the same day." in page
    photos = [name for name in files if name.startswith(layout.PHOTOS)]
    assert sum(name.rpartition("/")[2] in page for name in photos) == 4
    assert ANSWER_FILE in [files[n] for n in files if n.startswith(layout.ANSWER_FILES)]
    assert "data/audit/index.html" in files[layout.README].decode()


def test_a_page_tells_corrected_times_steps_in_words_and_what_the_auditor_measured():
    scene = audit_scene()
    reading = readings_to_measure(scene.drawn)[0]
    remeasure(scene.drawn, scene.auditor, [Again(reading.pk, 251.5)])
    taken = timezone.localtime().replace(hour=9, minute=37) - timedelta(days=1)
    PhotoFactory(
        visit=scene.scene.visit,
        phone_taken_at=taken,
        phone_sent_at=taken,
        phone_ahead=timedelta(minutes=7),
    )

    pages = dict(pages_of(scene.round, scene.auditor, with_photos=True))
    page = b"".join(pages[f"jobs/{scene.drawn.job.reference}.html"]).decode()

    assert f"<td>{reading.depth_mm:g}<td>251.5<td>" in page
    assert "09:30, photo" in page and "09:37" not in page
    assert _value({"kind": "work_step", "value": 1, "unit": ""}) == "yes"
    assert _value({"kind": "mean", "value": 278.9167, "unit": "mm"}) == "278.9 mm"


def report_count(files: dict[str, bytes], kind: str) -> int:
    return int(json.loads(files[layout.PACK])["counts"][kind])


def test_pages_lists_and_report_name_no_household(scene: ReadRound, files):
    told = b"".join(content for name, content in files.items() if name.startswith(layout.AUDIT))

    for words in scene.words_of_households():
        assert words.encode() not in told


def _other_list(files: dict[str, bytes]) -> None:
    lines = files[layout.AUDIT_POPULATION].splitlines(keepends=True)
    files[layout.AUDIT_POPULATION] = b"".join(lines[1:])


def _other_nonce(files: dict[str, bytes]) -> None:
    said = json.loads(files[layout.AUDIT_ROUND])
    files[layout.AUDIT_ROUND] = json.dumps(said | {"nonce": "ab" * 32}).encode()


def _other_seal(files: dict[str, bytes]) -> None:
    said = json.loads(files[layout.AUDIT_ROUND])
    files[layout.AUDIT_ROUND] = json.dumps(said | {"seal_root": "cd" * 32}).encode()


def _later_seal(files: dict[str, bytes]) -> None:
    """As if the company had waited for a Seal that it likes better."""
    said = json.loads(files[layout.AUDIT_ROUND])
    newest = json.loads(files[layout.SEALS].splitlines()[-1])
    assert newest["root_hash"] != said["seal_root"]
    said |= {"seal_root": newest["root_hash"]}
    files[layout.AUDIT_ROUND] = json.dumps(said).encode()


def _no_seal_before(files: dict[str, bytes]) -> None:
    for name in (layout.SEALS, layout.CONSISTENCY):
        files[name] = b"".join(files[name].splitlines(keepends=True)[1:])


def _other_report(files: dict[str, bytes]) -> None:
    files[layout.AUDIT_REPORT] = files[layout.AUDIT_REPORT].replace(b"%PDF-1.7", b"%PDF-1.6", 1)


def _other_key_named(files: dict[str, bytes]) -> None:
    said = json.loads(files[layout.AUDIT_ROUND])
    files[layout.AUDIT_ROUND] = json.dumps(said | {"report_key": "ef" * 32}).encode()


def _other_answer(files: dict[str, bytes]) -> None:
    (name,) = [name for name in files if name.startswith(layout.ANSWER_FILES)]
    files[name] = b"something else"


@pytest.mark.parametrize(
    ("change", "named"),
    [
        (_other_list, "is not the list that was sealed"),
        (_other_nonce, "its nonce is not the one that the auditor committed to"),
        (_other_seal, "its draw used a Seal that is not in the pack"),
        (_later_seal, "its draw did not use the first Seal over the population"),
        (_no_seal_before, "nothing shows that the draw used the first over the population"),
        (_other_report, "the report of the round: its signature is not over these bytes"),
        (_other_key_named, "the report of the round: is signed by another key"),
        (_other_answer, "its file data/answers/"),
    ],
    ids=["list", "nonce", "seal", "later", "before", "report", "report's key", "answer"],
)
def test_whoever_holds_the_key_cannot_change_the_draw_unseen(files, change, named: str):
    """The pack is signed again with the true key after the change."""
    change(files)
    insider(files)

    report = check(files)

    assert not report.sound
    assert named in str(report.faults[0])


def test_the_verifier_in_it_needs_nothing_but_python(files, tmp_path: Path):
    """`-I -S`: no package but Python's own is found, `cryptography` neither."""
    (tmp_path / "verifier.pyz").write_bytes(files[layout.VERIFIER])
    with zipfile.ZipFile(tmp_path / "pack.zip", "w") as packed:
        for name, content in files.items():
            packed.writestr(f"pack/{name}", content)
    (tmp_path / "key.hex").write_text(own_key()[0].hex())
    command = [sys.executable, "-I", "-S", "verifier.pyz", "pack.zip", "--key", "key.hex"]

    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)

    assert done.returncode == 0, done.stdout + done.stderr
    assert "Sound" in done.stdout


def test_there_is_none_before_the_draw(scene: ReadRound):
    begun = commit_round(scene.auditor.scheme, scene.auditor, terms(), "ab" * 32)

    with pytest.raises(Conflict, match="once the sample is drawn"):
        round_scope(begun, scene.auditor)


@pytest.mark.parametrize("address", ["/audit/rounds/{}/", "/api/v1/audit-rounds/{}/"])
def test_taking_it_is_recorded_for_every_job(client: Client, scene: ReadRound, address: str):
    client.force_login(scene.auditor)

    answer = client.get(address.format(scene.record.pk) + "pack.zip?without_photos=true")
    content = b"".join(answer.streaming_content)

    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        assert not [name for name in packed.namelist() if "/data/photos/" in name]
    taken = EvidenceAccess.objects.filter(person=scene.auditor)
    assert {row.job_id for row in taken} == {job.pk for job in scene.jobs}


def test_the_command_writes_the_same(scene: ReadRound, tmp_path: Path):
    call_command("export_pack", str(tmp_path / "pack"), round=scene.record.pk, verbosity=0)

    assert (tmp_path / "pack" / layout.AUDIT_ROUND).exists()
