"""What only follows from facts, followed again: stock balances, and hashes of photos."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from compliance.verify.facts import Facts
from compliance.verify.faults import Fault
from compliance.verify.layout import BALANCE, DERIVED, INSPECTION, MOVEMENT, PHOTO, PHOTO_HASH
from compliance.verify.reading_json import read_object
from compliance.verify.sources import PackFiles


def derived_faults(facts: Facts, files: PackFiles) -> Iterator[Fault]:
    """Only a pack of the whole ledger holds enough to follow them from."""
    if DERIVED not in files.names:
        if facts.counts().get(MOVEMENT):
            yield Fault(DERIVED, "is missing from the pack")
        return
    sums = _sums(facts)
    for n, line in enumerate(files.lines(DERIVED), 1):
        values = read_object(line, f"{DERIVED}, line {n}")
        if values["table"] == BALANCE:
            yield from _balance(values, sums.pop((values["depot_id"], values["item_id"]), (0, 0)))
        elif values["table"] == PHOTO_HASH:
            yield from _photo_hash(values, facts)
        else:
            yield Fault(f"{DERIVED}, line {n}", "is of a table that follows from no facts")
    for depot, item in sorted(sums):
        yield Fault(f"stock of item {item} at depot {depot}", "has movements, but no balance")


def _sums(facts: Facts) -> dict[tuple[int, int], tuple[int, int]]:
    """Depot and item -> units and number of movements."""
    sums: dict[tuple[int, int], tuple[int, int]] = defaultdict(lambda: (0, 0))
    for _, known in facts.of_kind(MOVEMENT):
        place = known["depot_id"], known["item_id"]
        units, movements = sums[place]
        sums[place] = units + known["effect"], movements + 1
    return dict(sums)


def _balance(values: dict[str, int], expected: tuple[int, int]) -> Iterator[Fault]:
    found = values["quantity"], values["movements"]
    if found != expected:
        yield Fault(
            f"stock balance {values['id']}",
            "is not the sum of its movements",
            f"{expected[0]} units of {expected[1]} movements",
            f"{found[0]} units of {found[1]} movements",
        )


def _photo_hash(values: dict[str, int], facts: Facts) -> Iterator[Fault]:
    of = facts.values(INSPECTION, values["inspection_id"]) or {}
    photo = facts.values(PHOTO, values["id"]) or {}
    expected = of.get("photo_id"), photo.get("job_id"), of.get("perceptual_hash")
    found = values["id"], values["job_id"], values["value"]
    if found != expected:
        yield Fault(
            f"hash of photo {values['id']}",
            "is not what the inspection of its photo found",
            str(expected),
            str(found),
        )
