"""Evidence packs: what is in them for whom, and that taking one is recorded."""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import replace
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from compliance.ledger.seals import make_seal
from compliance.models import EvidenceAccess, Seal
from compliance.packs.choosing import PackWish, figures_of, wished_scope
from compliance.packs.export import export_to_folder, zip_chunks
from compliance.packs.scope import PackScope
from compliance.verify import FolderSource, MemorySource, layout, verify_pack
from compliance.verify.kept_seals import read_kept_seal
from compliance.verify.seals import ReadSeal
from jobs.errors import Refused
from jobs.models import Role
from tests.compliance.audited import let_auditors_see
from tests.compliance.database_tampering import by_force, triggers_off
from tests.compliance.pack_scene import check, files_of, own_key, stored_photo
from tests.compliance.scene import Scene, certified_scene
from tests.factories import ArrivalFactory, UserFactory

pytestmark = pytest.mark.django_db


def certified() -> Scene:
    return certified_scene(photo=stored_photo)[0]


def kinds_in(files: dict[str, bytes]) -> list[str]:
    return [json.loads(line)["kind"] for line in files[layout.ENTRIES].splitlines()]


def test_a_pack_of_a_job_holds_its_facts_and_no_others():
    mine, other = certified(), certified()

    files = files_of(PackScope([mine.job.pk], "One job"))

    assert check(files).sound, check(files)
    facts = [json.loads(line)["fact"] for line in files[layout.ENTRIES].splitlines()]
    assert {fact["job_id"] for fact in facts if "job_id" in fact} == {mine.job.pk}
    assert {fact["visit_id"] for fact in facts if "visit_id" in fact} == {mine.visit.pk}
    assert len([name for name in files if name.startswith(layout.PHOTOS)]) == 4
    assert other.job.pk != mine.job.pk


def test_a_pack_as_a_folder_is_the_same_pack(tmp_path: Any):
    scene = certified()
    scope = PackScope([scene.job.pk], "One job")

    counts = export_to_folder(scope, tmp_path / "pack")

    report = verify_pack(FolderSource(tmp_path / "pack"), own_key())
    assert report.sound, report
    assert report.entries == sum(counts.values())


def test_memory_does_not_grow_with_the_pack():
    """Each piece that is sent is small, however many photos there are, and none is tiny."""
    scene = certified()
    for _ in range(12):
        stored_photo(300_000, visit=scene.visit, moment="after", sent_by=scene.installer)

    sizes = [len(chunk) for chunk in zip_chunks(PackScope([scene.job.pk], "One job"))]

    assert max(sizes) < 600_000
    assert min(sizes[:-1]) >= 1 << 18
    assert sum(sizes) > 12 * 300_000


def test_an_auditor_gets_no_householders_name_and_no_place_but_their_hashes():
    scene = certified()
    ArrivalFactory(
        visit=scene.visit,
        let_in_by="Mrs Householder",
        position_agreed=True,
        latitude_deg=52.123456,
        longitude_deg=-1.1,
    )

    let_auditors_see(scene.job)
    wish = PackWish(job=scene.job.reference)
    theirs = files_of(wished_scope(scene.person("auditor"), wish))
    ours = files_of(wished_scope(scene.person("compliance_officer"), wish))

    assert check(theirs).sound, check(theirs)
    assert check(ours).sound, check(ours)
    assert b"Householder" not in theirs[layout.CONTENTS]
    assert b"52.123456" not in theirs[layout.CONTENTS] + theirs[layout.ROWS]
    assert b"A. Householder" in ours[layout.CONTENTS]
    assert "jobs_handover.signed_name" in str(check(theirs))


def test_what_is_withheld_cannot_be_claimed_by_whoever_takes_it_out():
    scene = certified()
    files = files_of(PackScope([scene.job.pk], "One job"))
    files[layout.CONTENTS] = b"".join(
        line
        for line in files[layout.CONTENTS].splitlines(keepends=True)
        if b"jobs_handover" not in line
    )

    assert "signature_svg is missing" in str(check(files))


def test_photos_may_be_left_out():
    scene = certified()

    files = files_of(PackScope([scene.job.pk], "One job", left_out=frozenset({"photos"})))

    report = check(files)
    assert report.sound, report
    assert "Not in this pack, as it says itself: photos." in report.notes
    assert not [name for name in files if name.startswith(layout.PHOTOS)]


def test_a_photo_that_storage_lost_is_named():
    scene, _ = certified_scene()  # its photos were never stored

    report = check(files_of(PackScope([scene.job.pk], "One job")))

    assert report.faults[0].where.startswith("photo ")
    assert "missing" in report.faults[0].what


def sealed_again(scene: Scene, times: int) -> list[Seal]:
    """So many Seals, each over one more entry."""
    made = []
    for n in range(times):
        ArrivalFactory(visit=scene.visit, note=f"Ladder {n}")
        made.append(make_seal())
    return made


def kept_in(folder: Any, seal: Seal) -> list[ReadSeal]:
    """A Seal as somebody keeps it."""
    file = folder / f"seal-{seal.pk}.txt"
    key, signature = bytes(seal.public_key).hex(), bytes(seal.signature).hex()
    file.write_text(layout.signed_file(seal.signed_text, key, signature))
    return [read_kept_seal(file)]


def test_a_kept_seal_may_be_asked_for_and_is_compared(tmp_path: Any):
    scene = certified()
    _, early, *_ = sealed_again(scene, 27)  # more than a pack takes along by itself
    kept = kept_in(tmp_path, early)
    one_job = PackScope([scene.job.pk], "One job")

    assert kept[0].name.startswith(f"Seal {kept[0].link.number} over")
    assert check(files_of(replace(one_job, seals=(early.pk,))), kept_seals=kept).sound
    assert check(files_of(PackScope(None, "All")), kept_seals=kept).sound
    assert "Have the pack made with that Seal" in str(check(files_of(one_job), kept_seals=kept))
    assert Seal.objects.count() == 27


def test_a_seal_that_was_deleted_is_missed_by_its_number(tmp_path: Any):
    """Also one that no pack would take along; the last one only by whoever kept it."""
    scene = certified()
    made = sealed_again(scene, 28)
    kept = kept_in(tmp_path, made[-1])
    one_job, everything = PackScope([scene.job.pk], "One job"), PackScope(None, "All")
    said = str(check(files_of(one_job)))
    assert "Seals 1 to 28 are all there, by their numbers." in said
    assert "can be told only by whoever kept one" in said

    by_force(Seal.objects.filter(pk=made[2].pk), signature=b"\0" * 64)
    assert "its signature does not fit its text" in str(check(files_of(everything)))
    with triggers_off() as cursor:
        cursor.execute("DELETE FROM compliance_seal WHERE id = ANY(%s)", [[made[2].pk, made[3].pk]])
    for scope in (one_job, everything):
        (fault,) = check(files_of(scope)).faults
        assert str(fault).startswith("Seals number 3 to 4: were deleted"), fault
    with triggers_off() as cursor:
        cursor.execute("DELETE FROM compliance_seal WHERE id > %s", [made[25].pk])
    assert "which you kept, is not here" in str(check(files_of(one_job), kept_seals=kept))


def test_a_ledger_that_was_written_anew_does_not_continue_a_kept_seal(tmp_path: Any):
    """Whoever holds the key can sign another ledger; whoever kept a Seal finds out."""
    certified()
    kept = kept_in(tmp_path, make_seal())
    with triggers_off() as cursor:
        cursor.execute("DELETE FROM compliance_seal")
        cursor.execute(
            "UPDATE jobs_depthreading SET depth_mm = 300 WHERE id = (SELECT min(id) FROM "
            "jobs_depthreading)"
        )
        cursor.execute(
            "UPDATE compliance_ledgerentry e SET payload = jsonb_set(payload::jsonb, "
            "'{fact,depth_mm}', '300')::text WHERE kind = 'jobs_depthreading' AND fact_id = "
            "(SELECT min(id) FROM jobs_depthreading)"
        )
        cursor.execute(
            "UPDATE compliance_ledgerentry SET "
            "leaf_hash = sha256('\\x00'::bytea || convert_to(payload, 'UTF8'))"
        )
    files = files_of(PackScope(None, "All", left_out=frozenset({"photos"})))

    report = check(files, kept_seals=kept)

    assert "was rewritten" in report.faults[0].what


def test_a_period_takes_the_jobs_judged_in_it():
    scene = certified()
    officer = scene.person("compliance_officer")
    day = timezone.localdate(scene.job.assessments.get().made_at)  # type: ignore[attr-defined]

    scope = wished_scope(officer, PackWish(first_day=day, last_day=day))

    assert scope.jobs == [scene.job.pk]
    figures = figures_of(scope)
    assert (figures.jobs, figures.photos, figures.certificates) == (1, 4, 1)
    assert figures.photo_bytes == 8_000


@pytest.mark.parametrize(
    ("wish", "remedy"),
    [
        (PackWish(), "Give a job such as J-000123, or both days."),
        (PackWish(job="J-999999"), "Give its number, such as J-000123."),
        (PackWish(job="J-000001", seal=99), "Leave it empty."),
    ],
    ids=["nothing chosen", "a job of nobody's", "a Seal that is none"],
)
def test_a_wish_that_cannot_be_met_says_what_to_do(wish: PackWish, remedy: str):
    with pytest.raises(Refused, match=remedy):
        wished_scope(UserFactory(role=Role.COMPLIANCE_OFFICER), wish)


def test_another_companys_job_is_no_job():
    scene = certified()
    stranger = UserFactory(role=Role.COMPLIANCE_OFFICER)

    with pytest.raises(Refused, match="No job fits"):
        wished_scope(stranger, PackWish(job=scene.job.reference))


@pytest.mark.parametrize("address", ["/proof/packs/evidence.zip", "/api/v1/packs/evidence.zip"])
def test_the_download_is_a_sound_pack_and_is_recorded(client: Client, address: str):
    scene = certified()
    let_auditors_see(scene.job)
    auditor = scene.person("auditor")
    client.force_login(auditor)

    answer = client.get(address, {"job": scene.job.reference})

    assert answer["Content-Type"] == "application/zip"
    with zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content))) as packed:
        files = {name.partition("/")[2]: packed.read(name) for name in packed.namelist()}
    assert verify_pack(MemorySource(files), own_key()).sound
    access = EvidenceAccess.objects.get(person=auditor)
    assert (access.job_id, access.what) == (scene.job.pk, "evidence pack")


def test_the_page_says_how_much_it_is_before_it_is_taken(client: Client):
    scene = certified()
    client.force_login(scene.person("compliance_officer"))

    page = client.get("/proof/packs/", {"job": scene.job.reference}).content.decode()

    assert "Take the pack away" in page
    assert f"evidence.zip?job={scene.job.reference}" in page
    assert not EvidenceAccess.objects.exists()
