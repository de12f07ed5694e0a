"""The ledger: every fact enters it, positions are given once, and tampering is found."""

from __future__ import annotations

import hashlib
import threading

import pytest
from django.core.management import CommandError, call_command
from django.db import connection, connections, transaction

from compliance.assess import assess_job
from compliance.ledger import seals, stored_tree
from compliance.ledger.check import verify_ledger
from compliance.ledger.check_stored import node_faults
from compliance.ledger.kinds import KINDS, key_of
from compliance.ledger.seals import LedgerRewritten, make_seal, signature_holds
from compliance.ledger.sequence import sequence_entries
from compliance.ledger.stored_tree import StoredTree
from compliance.ledger.tree import MemoryTree, verify_consistency, verify_inclusion
from compliance.models import LedgerEntry, LedgerLeaf, LedgerNode, Seal
from compliance.verify.layout import SealLink, link_of
from jobs.models import DepthReading
from tests.compliance.scene import certified_scene, fitted
from tests.factories import DepthReadingFactory, VisitFactory

pytestmark = pytest.mark.django_db


def leaf_hashes() -> list[bytes]:
    rows = LedgerLeaf.objects.order_by("position").values_list("entry__leaf_hash", flat=True)
    return [bytes(leaf) for leaf in rows]


def sql(statement: str, *parameters: object) -> None:
    """As a superuser who has switched the triggers off."""
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        cursor.execute(statement, parameters)
        cursor.execute("SET LOCAL session_replication_role = DEFAULT")


def test_every_fact_of_a_certified_job_has_its_entry():
    certified_scene()

    for table in KINDS:
        with connection.cursor() as cursor:
            key = key_of(table)
            cursor.execute(f"SELECT {key} FROM {table} ORDER BY {key}")
            facts = [row[0] for row in cursor.fetchall()]
        entries = LedgerEntry.objects.filter(kind=table).order_by("fact_id")
        assert list(entries.values_list("fact_id", flat=True)) == facts
    assert LedgerEntry.objects.filter(kind="compliance_certificate").count() == 1


def test_the_list_of_fact_tables_is_that_of_the_triggers():
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT tgrelid::regclass::text FROM pg_trigger WHERE tgname = 'enter_the_ledger'"
        )
        assert {row[0] for row in cursor.fetchall()} == set(KINDS)


def test_a_signature_and_a_name_enter_only_as_hashes():
    fitted()

    payload = LedgerEntry.objects.get(kind="jobs_handover").payload

    assert "A. Householder" not in payload
    assert "M0 0" not in payload
    assert payload.count("sha256:") == 3


def test_a_seal_covers_everything_committed_and_is_signed():
    fitted()

    seal = make_seal()

    assert seal.tree_size == LedgerEntry.objects.count()
    assert bytes(seal.root_hash) == MemoryTree(leaf_hashes()).root()
    assert signature_holds(seal)


def test_without_new_entries_there_is_no_new_seal():
    fitted()

    assert make_seal() == make_seal()
    assert Seal.objects.count() == 1


def test_a_seal_is_numbered_and_names_the_one_before():
    fitted()
    first = make_seal()
    fitted()
    second = make_seal()
    fitted()
    third = make_seal()

    assert [link_of(seal.signed_text).number for seal in (first, second, third)] == [1, 2, 3]
    assert link_of(first.signed_text).before == "none"
    named = hashlib.sha256(second.signed_text.encode()).hexdigest()
    assert link_of(third.signed_text).before == named
    assert verify_ledger().sound
    sql("DELETE FROM compliance_seal WHERE id = %s", second.pk)
    assert "Seal number 2: was deleted" in str(verify_ledger())


def test_seals_from_before_they_were_numbered_are_gone_on_from(monkeypatch):
    """Version 1 of a Seal names neither its number nor the one before."""
    fitted()
    monkeypatch.setattr(seals, "_link_to", lambda last: None)
    old = make_seal()
    monkeypatch.undo()
    fitted()
    new = make_seal()

    assert old.signed_text.startswith("Eavesbook ledger seal, version 1\n")
    named = hashlib.sha256(old.signed_text.encode()).hexdigest()
    assert link_of(new.signed_text) == SealLink(2, named)
    assert verify_ledger().sound
    sql("DELETE FROM compliance_seal WHERE id = %s", old.pk)
    assert "Seal number 1: was deleted" in str(verify_ledger())


def test_a_later_seal_is_consistent_with_an_earlier_one():
    fitted()
    first = make_seal()
    fitted()
    second = make_seal()

    proof = StoredTree().consistency(first.tree_size, second.tree_size)

    assert verify_consistency(
        first.tree_size,
        second.tree_size,
        bytes(first.root_hash),
        bytes(second.root_hash),
        proof,
    )


def test_every_entry_can_be_proved_under_a_seal():
    fitted()
    seal = make_seal()

    for position, leaf in enumerate(leaf_hashes()):
        path = StoredTree().inclusion(position, seal.tree_size)
        assert verify_inclusion(position, seal.tree_size, leaf, path, bytes(seal.root_hash))


def test_proofs_from_stored_runs_are_those_of_the_whole_tree(monkeypatch):
    monkeypatch.setattr(stored_tree, "STEP", 2)
    monkeypatch.setattr(stored_tree, "RUN", 4)
    for _ in range(5):
        fitted()
        sequence_entries()
    whole = MemoryTree(leaf_hashes())
    stored = StoredTree()

    assert stored.size == whole.size > 64
    assert LedgerNode.objects.filter(level=6).exists()
    for size in range(1, whole.size + 1, 3):
        assert stored.root(size) == whole.root(size)
        for index in range(0, size, 5):
            leaf, root = leaf_hashes()[index], whole.root(size)
            assert verify_inclusion(index, size, leaf, stored.inclusion(index, size), root)
    assert list(node_faults()) == []
    sql("UPDATE compliance_ledgernode SET node_hash = sha256(node_hash) WHERE level = 4")
    assert ("node 4/0", "the stored hash does not follow from those beneath") in node_faults()


def test_the_number_of_queries_of_a_proof_does_not_grow_with_the_ledger(
    django_assert_max_num_queries,
):
    for _ in range(3):
        fitted()
    seal = make_seal()

    with django_assert_max_num_queries(4):
        StoredTree().inclusion(0, seal.tree_size)


def test_a_sound_ledger_is_found_sound():
    certified_scene()
    make_seal()

    report = verify_ledger()

    assert report.sound, report
    assert report.in_tree == report.entries == LedgerEntry.objects.count()


TAMPERINGS = [
    (
        "UPDATE jobs_depthreading SET depth_mm = 300 WHERE id = "
        "(SELECT min(id) FROM jobs_depthreading)",
        r"reading \d+ .*its depth_mm",
        "a reading is made deeper",
    ),
    (
        "UPDATE jobs_photo SET sha256 = repeat('a', 64) WHERE id = "
        "(SELECT min(id) FROM jobs_photo)",
        r"photo \d+ .*its sha256",
        "a photo is swapped",
    ),
    (
        "UPDATE jobs_handover SET signed_name = 'Somebody Else'",
        r"handover \d+ .*its signed_name",
        "another name signed",
    ),
    (
        'UPDATE compliance_assessment SET arithmetic = arithmetic || \'{"verdict": "short"}\'',
        r"assessment \d+ .*its arithmetic",
        "the arithmetic is rewritten",
    ),
    (
        "DELETE FROM jobs_depthreading WHERE id = (SELECT max(id) FROM jobs_depthreading)",
        r"reading \d+ .*is gone, though it is recorded",
        "a reading is deleted",
    ),
    (
        "DELETE FROM jobs_visitevent WHERE pgh_id = (SELECT min(pgh_id) FROM jobs_visitevent)",
        r"edit \d+ of a visit .*is gone, though it is recorded",
        "an edit is deleted from a history",
    ),
    (
        "DELETE FROM compliance_ledgerleaf WHERE position = 3",
        "nothing stands at position 3",
        "a position is emptied",
    ),
    (
        "UPDATE compliance_ledgerentry SET payload = replace(payload, '285', '295')",
        "payload does not give the stored hash",
        "entries are rewritten",
    ),
    (
        "UPDATE compliance_ledgerentry SET payload = payload || ' ', leaf_hash = "
        "sha256('\\x00'::bytea || convert_to(payload || ' ', 'UTF8')) WHERE kind = 'jobs_photo'",
        "do not give its root",
        "an entry and its hash are rewritten together",
    ),
    (
        "UPDATE compliance_ledgerentry SET belongs_to = 'job 0' WHERE kind = 'jobs_handover'",
        "is kept as of 'job 0', but its payload says",
        "an entry is put out of its job's sight",
    ),
    (
        "UPDATE compliance_seal SET root_hash = sha256('another')",
        "do not give its root",
        "a Seal's root is rewritten",
    ),
    (
        "UPDATE compliance_seal SET signed_text = replace(signed_text, 'tree size', 'tree width')",
        "signature does not fit",
        "what was signed is rewritten",
    ),
]


@pytest.mark.parametrize(
    ("statement", "named", "reason"), TAMPERINGS, ids=[case[2] for case in TAMPERINGS]
)
def test_tampering_by_a_superuser_is_named(statement: str, named: str, reason: str):
    scene = fitted()
    assess_job(scene.job.pk)
    make_seal()
    sql(statement)

    with pytest.raises(CommandError, match=named):
        call_command("verify_ledger")


def test_swapping_two_entries_is_found():
    fitted()
    make_seal()
    first, second = LedgerLeaf.objects.filter(position__in=(1, 2)).order_by("position")
    sql("UPDATE compliance_ledgerleaf SET entry_id = -1 WHERE position = 1")
    sql("UPDATE compliance_ledgerleaf SET entry_id = %s WHERE position = 2", first.entry_id)
    sql("UPDATE compliance_ledgerleaf SET entry_id = %s WHERE position = 1", second.entry_id)

    assert "do not give its root" in str(verify_ledger())


def test_nothing_is_sealed_over_a_tree_with_an_empty_position():
    """Moved so that the next entry fills a run of 256 which has a hole."""
    fitted()
    make_seal()
    sql("UPDATE compliance_ledgerleaf SET position = 254 WHERE position = 3")
    DepthReadingFactory()

    with pytest.raises(LedgerRewritten, match="verify_ledger"):
        make_seal()


def test_a_fact_slipped_in_without_an_entry_is_found():
    scene = fitted()
    sql(
        "INSERT INTO jobs_depthreading (visit_id, area_id, x_mm, y_mm, depth_mm, allowance, "
        "measured_by_id, measured_at, received_at, client_key, correction_reason, "
        "salt, words_hashed) "
        "SELECT visit_id, area_id, x_mm, y_mm, 400, '', measured_by_id, measured_at, received_at, "
        "gen_random_uuid(), '', gen_random_uuid(), true FROM jobs_depthreading "
        "WHERE visit_id = %s LIMIT 1",
        scene.visit.pk,
    )

    assert "no ledger entry was ever written" in str(verify_ledger())


def test_raw_sql_cannot_write_a_fact_without_its_entry():
    reading = DepthReadingFactory()
    entries = LedgerEntry.objects.filter(kind="jobs_depthreading").count()

    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO jobs_depthreading (visit_id, area_id, x_mm, y_mm, depth_mm, allowance, "
            "measured_by_id, measured_at, received_at, client_key, correction_reason, "
            "salt, words_hashed) "
            "SELECT visit_id, area_id, 1, 1, 250, '', measured_by_id, measured_at, received_at, "
            "gen_random_uuid(), '', gen_random_uuid(), true FROM jobs_depthreading WHERE id = %s",
            [reading.pk],
        )

    assert LedgerEntry.objects.filter(kind="jobs_depthreading").count() == entries + 1


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE compliance_ledgerentry SET payload = '{}'",
        "DELETE FROM compliance_ledgerentry",
        "UPDATE compliance_ledgerleaf SET position = position + 1000",
        "DELETE FROM compliance_ledgerleaf",
        "UPDATE compliance_seal SET tree_size = 0",
        "DELETE FROM compliance_seal",
    ],
)
def test_the_ledger_itself_is_never_changed(statement: str):
    fitted()
    make_seal()

    with (
        pytest.raises(Exception, match="Cannot update or delete rows"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(statement)


@pytest.mark.django_db(transaction=True)
def test_an_entry_that_commits_late_is_taken_behind_the_others():
    """The entry with the smaller id commits after a later one was sealed: none is lost."""
    visit = VisitFactory()
    early = DepthReadingFactory(visit=visit)
    values = {
        f.attname: getattr(early, f.attname)
        for f in DepthReading._meta.concrete_fields
        if f.attname not in ("id", "client_key")
    }
    written, sealed = threading.Event(), threading.Event()

    def late_writer() -> None:
        try:
            with transaction.atomic():
                DepthReading.objects.create(**values | {"depth_mm": 111.0})
                written.set()
                sealed.wait(20)
        finally:
            connections.close_all()

    thread = threading.Thread(target=late_writer)
    thread.start()
    assert written.wait(20)
    DepthReading.objects.create(**values | {"depth_mm": 222.0})
    first = make_seal()
    sealed.set()
    thread.join()
    second = make_seal()

    assert LedgerEntry.objects.unsealed().count() == 0
    assert second.tree_size == first.tree_size + 1
    last = LedgerLeaf.objects.order_by("-position").select_related("entry").first()
    assert '"depth_mm": 111' in last.entry.payload
    assert LedgerLeaf.objects.filter(entry__id__gt=last.entry_id).exists()
    assert verify_ledger().sound
