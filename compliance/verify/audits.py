"""An audit round in a pack: that its list is the sealed one, and that the draw comes out so."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Sequence
from typing import Any

from compliance.verify.draws import read_population, repeated_draw, strata_of
from compliance.verify.facts import Facts
from compliance.verify.faults import Fault
from compliance.verify.layout import (
    ANSWER_EVIDENCE,
    ANSWER_FILES,
    AUDIT_POPULATION,
    AUDIT_ROUND,
    DRAWN_JOB,
    ENTRIES,
    POPULATION_SEAL,
    PROOFS,
)
from compliance.verify.reading_json import from_hex, read_object
from compliance.verify.seals import HASH_BYTES, ReadSeal
from compliance.verify.sources import PackFiles

WHERE = "the draw of the round"
MARK = f'"{POPULATION_SEAL}"'.encode()


def audit_faults(facts: Facts, files: PackFiles, seals: Sequence[ReadSeal]) -> Iterator[Fault]:
    """Nothing for a pack that is not of a round."""
    if AUDIT_ROUND not in files.names:
        return
    said = read_object(files.text(AUDIT_ROUND), AUDIT_ROUND)
    number = int(said["round"])
    sealed = _population_fact(facts, number)
    if sealed is None:
        yield Fault(AUDIT_ROUND, f"names round {number}, whose sealed population is missing")
        return
    population = read_population(files.lines(AUDIT_POPULATION))
    if files.digest(AUDIT_POPULATION) != sealed["sha256"]:
        found = files.digest(AUDIT_POPULATION)
        yield Fault(AUDIT_POPULATION, "is not the list that was sealed", sealed["sha256"], found)
        return
    nonce, root = bytes.fromhex(str(said["nonce"])), from_hex(said["seal_root"], HASH_BYTES, WHERE)
    if hashlib.sha256(nonce).hexdigest() != sealed["nonce_commitment"]:
        yield Fault(AUDIT_ROUND, "its nonce is not the one that the auditor committed to")
    seal = next((one for one in seals if one.root == root), None)
    if seal is None:
        yield Fault(AUDIT_ROUND, "its draw used a Seal that is not in the pack", found=root.hex())
    elif not _covers(seal, sealed["id"], files):
        yield Fault(AUDIT_ROUND, "its draw used a Seal made before the population was sealed")
    strata = strata_of(sealed["strata"], int(said["sample_size"]))
    drawn = repeated_draw(
        nonce, root, f"round-{number}", population, strata, int(said["widenings"])
    )
    yield from _drawn_faults(facts, number, drawn)


def answer_file_faults(facts: Facts, files: PackFiles) -> Iterator[Fault]:
    """That files which came with answers are there, and are what was recorded."""
    for number, (sha256,) in sorted(facts.rows.get(ANSWER_EVIDENCE, {}).items()):
        name = f"{ANSWER_FILES}{sha256}"
        if not sha256:
            continue
        if name not in files.names:
            yield Fault(facts.name(ANSWER_EVIDENCE, number), f"its file {name} is missing")
        elif files.digest(name) != sha256:
            where = facts.name(ANSWER_EVIDENCE, number)
            yield Fault(where, f"its file {name} is another", sha256, files.digest(name))


def _population_fact(facts: Facts, number: int) -> dict[str, Any] | None:
    for fact in facts.rows.get(POPULATION_SEAL, {}):
        known = facts.values(POPULATION_SEAL, fact)
        if known is not None and known["round_id"] == number:
            return {"id": fact, **known}
    return None


def _covers(seal: ReadSeal, fact: int, files: PackFiles) -> bool:
    """Whether the entry of the sealed population stands under that Seal."""
    positions: Iterator[Any] = (
        (json.loads(line)["position"] for line in files.lines(PROOFS))
        if PROOFS in files.names
        else iter(range(1 << 62))
    )
    for line, position in zip(files.lines(ENTRIES), positions, strict=False):
        if MARK in line:
            entry = json.loads(line)
            if entry["kind"] == POPULATION_SEAL and entry["fact"]["id"] == fact:
                return bool(position < seal.tree_size)
    return False


def _drawn_faults(facts: Facts, number: int, drawn: list[tuple[str, str]]) -> Iterator[Fault]:
    stored: dict[int, tuple[int, str]] = {}
    for fact in facts.rows.get(DRAWN_JOB, {}):
        known = facts.values(DRAWN_JOB, fact)
        if known is not None and known["round_id"] == number:
            stored[known["draw_order"]] = (known["job_id"], known["stratum"] or "")
    for order, (name, stratum) in enumerate(drawn, start=1):
        if stored.get(order) != (int(name.removeprefix("J-")), stratum):
            held = stored.get(order)
            found = "none" if held is None else f"J-{held[0]:06} {held[1]}".strip()
            yield Fault(WHERE, f"gives another job at place {order}", name, found)
            return
    if len(stored) != len(drawn):
        yield Fault(WHERE, "gives another number of jobs", str(len(drawn)), str(len(stored)))
