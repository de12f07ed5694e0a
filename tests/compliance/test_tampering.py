"""Ten thousand changes to packs and to the database beneath: all found by the offline verifier.

Every change is checked by the verifier as it is run from the command line; nothing stands in for
it. Changes are random from one seed. Of an untouched pack nothing is found.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import pytest
from django.db import transaction

from compliance.packs.scope import PackScope
from compliance.verify import PackReport
from tests.compliance import column_tampering as columns
from tests.compliance import database_tampering as database
from tests.compliance import tampering
from tests.compliance.pack_scene import Files, PackScene, check, files_of, pack_scene

pytestmark = pytest.mark.django_db

SEED = 9162

# Of every change by every hand that can make it, so many in each of two packs.
BY_ANYBODY: tuple[tampering.Change, ...] = (
    tampering.photo_bit,
    tampering.certificate_bit,
    tampering.row_value,
    tampering.entry_value,
    tampering.swapped_readings,
    tampering.row_dropped,
    tampering.entry_forged,
    tampering.ledger_reordered,
    tampering.seal_changed,
    tampering.chain_changed,
    tampering.copy_changed,
    tampering.proof_forged,
    tampering.contents_changed,
    tampering.payload_truncated,
    tampering.payload_missing,
)
# What the signature of the pack finds, and so nobody who can sign.
BY_STRANGERS = (
    tampering.any_bit,
    tampering.anything_truncated,
    tampering.anything_missing,
    tampering.file_added,
    tampering.said_otherwise,
)
EACH = 74
DROPPED_EACH = 80
ROUNDS = 2
COLUMNS_CHANGED = 2_200
LEDGER_CHANGES = 70
WANTED = 10_000


@dataclass(frozen=True)
class Packs:
    scene: PackScene
    jobs: Files
    whole: Files


@pytest.fixture(scope="module")
def packs(django_db_setup: None, django_db_blocker: pytest.FixtureRequest) -> Iterator[Packs]:
    """One scene for all changes; nothing of it stays."""
    with django_db_blocker.unblock(), transaction.atomic():  # type: ignore[attr-defined]
        scene = pack_scene()
        yield Packs(
            scene, files_of(PackScope(scene.jobs, "Two jobs")), files_of(PackScope(None, "All"))
        )
        transaction.set_rollback(True)


def found(files: Files, change: tampering.Change, hand: object, number: int) -> str:
    """The first thing the verifier names, or nothing."""
    name = change.__name__
    chance = random.Random(f"{SEED} {name} {hand} {number}")
    changed = dict(files)
    change(chance, changed)
    getattr(tampering, str(hand))(changed)
    assert changed != files
    report = check(changed, most_faults=1)
    return "" if report.sound else str(report.faults[0])


def missed(files: Files, change: tampering.Change, hand: str, times: int) -> list[int]:
    return [number for number in range(times) if not found(files, change, hand, number)]


def test_untouched_packs_are_sound(packs: Packs):
    assert check(packs.jobs).sound, check(packs.jobs)
    assert check(packs.whole).sound, check(packs.whole)


def test_every_table_of_the_ledgers_list_has_rows(packs: Packs):
    """So that a change in any of them is among those that are tried."""
    assert [table for table in columns.TABLES if not database.ids_of(table)] == []


@pytest.mark.parametrize("hand", ["clumsy", "thorough", "insider"])
@pytest.mark.parametrize("change", BY_ANYBODY, ids=lambda change: change.__name__)
def test_a_change_is_found_whoever_makes_it(packs: Packs, change: tampering.Change, hand: str):
    assert missed(packs.jobs, change, hand, EACH) == []
    assert missed(packs.whole, change, hand, EACH) == []


@pytest.mark.parametrize("change", BY_STRANGERS, ids=lambda change: change.__name__)
def test_what_the_pack_says_of_itself_is_under_its_signature(
    packs: Packs, change: tampering.Change
):
    assert missed(packs.jobs, change, "clumsy", EACH) == []
    assert missed(packs.whole, change, "clumsy", EACH) == []


def test_a_dropped_entry_is_found(packs: Packs):
    """By whoever cannot sign in any pack, and by whoever can in a pack of the whole ledger."""
    for hand in ("clumsy", "thorough"):
        assert missed(packs.jobs, tampering.entry_dropped, hand, DROPPED_EACH) == []
    for hand in ("clumsy", "thorough", "insider"):
        assert missed(packs.whole, tampering.entry_dropped, hand, DROPPED_EACH) == []


def test_what_is_named_is_what_was_changed(packs: Packs):
    """The first thing wrong is the photo, reading, entry or Seal, not the file it stands in."""
    names = {
        tampering.photo_bit: "photo ",
        tampering.certificate_bit: "certificate ",
        tampering.swapped_readings: "reading ",
        tampering.seal_changed: "Seal ",
    }
    for change, name in names.items():
        for number in range(10):
            said = found(packs.jobs, change, "clumsy", number)
            assert name in said.partition(":")[0], said


def test_columns_changed_by_a_superuser_are_named_each(packs: Packs):
    """Every column of every table of the list, changed with triggers off; then a pack is made.

    The verifier names each row and each column of it.
    """
    chance = random.Random(SEED)
    tried: Counter[tuple[str, str]] = Counter()
    for tables, part in product(columns.GROUPS * ROUNDS, range(columns.PASSES)):
        with transaction.atomic():
            changed = list(columns.change_columns(chance, tables, part))
            report = check(files_of(PackScope(None, "All")), most_faults=10_000)
            assert unnamed(changed, report) == []
            tried.update((change.table, change.column) for change in changed)
            transaction.set_rollback(True)
    assert set(tried) == {(t, c) for t in columns.TABLES for c in columns.columns_of(t)}
    assert tried.total() >= COLUMNS_CHANGED


def unnamed(changed: list[columns.Change], report: PackReport) -> list[columns.Change]:
    """Changes whose row and column no fault names; of what is derived the row is enough."""
    faults = [(fault.where.partition(",")[0], fault.what) for fault in report.faults]
    return [
        change
        for change in changed
        if not any(
            (where == change.name or where.startswith(f"{change.name} "))
            and (change.table in columns.DERIVED or f"its {change.told} is not" in what)
            for where, what in faults
        )
    ]


@pytest.mark.parametrize("change", database.LEDGER_CHANGES, ids=lambda change: change.__name__)
def test_the_ledger_changed_by_a_superuser_is_found(packs: Packs, change: database.LedgerChange):
    """Entries, positions and Seals, changed with triggers off; then a pack is made and checked."""
    chance = random.Random(f"{SEED} {change.__name__}")
    times = LEDGER_CHANGES // len(database.LEDGER_CHANGES)
    for _ in range(times):
        with transaction.atomic():
            change(chance)
            assert not check(files_of(PackScope(None, "All")), most_faults=1).sound
            transaction.set_rollback(True)


def test_so_many_changes_are_tried():
    """Every test above goes through all of its own, whatever it finds."""
    hands, packs_tried = 3, 2
    kinds = hands * len(BY_ANYBODY) + len(BY_STRANGERS)
    assert (
        kinds * packs_tried * EACH + 5 * DROPPED_EACH + COLUMNS_CHANGED + LEDGER_CHANGES >= WANTED
    )
