"""An audit round in a pack: that its list is the sealed one, and that the draw comes out so."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Sequence
from typing import Any

from compliance.verify.certificate_keys import UnknownKind
from compliance.verify.draws import read_population, repeated_draw, strata_of
from compliance.verify.facts import Facts
from compliance.verify.faults import Fault
from compliance.verify.layout import (
    ANSWER_EVIDENCE,
    ANSWER_FILES,
    AUDIT_POPULATION,
    AUDIT_REPORT,
    AUDIT_ROUND,
    DRAWN_JOB,
    ENTRIES,
    NO_SEAL_BEFORE,
    POPULATION_SEAL,
    PROOFS,
    text_sha256,
)
from compliance.verify.reading_json import from_hex, read_object
from compliance.verify.references import signature_faults
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
    else:
        yield from _seal_faults(seal, seals, _position_of(sealed["id"], files))
    strata = strata_of(sealed["strata"], int(said["sample_size"]))
    drawn = repeated_draw(
        nonce, root, f"round-{number}", population, strata, int(said["widenings"])
    )
    yield from _drawn_faults(facts, number, drawn)


def answer_file_faults(facts: Facts, files: PackFiles) -> Iterator[Fault]:
    """That files which came with answers are there, and are what was recorded."""
    for number, known in facts.of_kind(ANSWER_EVIDENCE):
        sha256 = known["sha256"]
        name = f"{ANSWER_FILES}{sha256}"
        if not sha256:
            continue
        if name not in files.names:
            yield Fault(facts.name(ANSWER_EVIDENCE, number), f"its file {name} is missing")
        elif files.digest(name) != sha256:
            where = facts.name(ANSWER_EVIDENCE, number)
            yield Fault(where, f"its file {name} is another", sha256, files.digest(name))


def _population_fact(facts: Facts, number: int) -> dict[str, Any] | None:
    for fact, known in facts.of_kind(POPULATION_SEAL):
        if known["round_id"] == number:
            return {"id": fact, **known}
    return None


def audit_notes(files: PackFiles, seals: Sequence[ReadSeal]) -> Iterator[str]:
    """What was found out of a round without a fault, and what was not."""
    if AUDIT_ROUND not in files.names:
        return
    yield "The draw of the round was repeated, and gives the same jobs."
    root = read_object(files.text(AUDIT_ROUND), AUDIT_ROUND)["seal_root"]
    seal = next(one for one in seals if one.root.hex() == root)
    if seal.link is None:
        yield (
            f"Whether {seal.name} was the first over the population is not to be told: it is of a "
            "version that does not name the Seal before it."
        )
    else:
        yield (
            f"{seal.name} was the first over the population: the one before it, which it names, "
            "ends before it. A Seal that was made and shown to nobody cannot be ruled out."
        )


def _seal_faults(
    seal: ReadSeal, seals: Sequence[ReadSeal], position: int | None
) -> Iterator[Fault]:
    """That the Seal covers the sealed population, and that the Seal before it does not yet.

    position: of the population's entry; None where there is none.
    """
    if position is None or position >= seal.tree_size:
        yield Fault(AUDIT_ROUND, "its draw used a Seal made before the population was sealed")
        return
    before = max(
        (one for one in seals if one.tree_size < seal.tree_size),
        key=lambda one: one.tree_size,
        default=None,
    )
    if before is not None and position < before.tree_size:
        yield Fault(
            AUDIT_ROUND,
            f"its draw did not use the first Seal over the population: {before.name} covers it",
        )
    elif seal.link is not None:
        named = NO_SEAL_BEFORE if before is None else text_sha256(before.signed_text)
        if seal.link.before != named:
            yield Fault(
                AUDIT_ROUND,
                f"the Seal that {seal.name} names before it is missing from the pack, so nothing "
                "shows that the draw used the first over the population",
                seal.link.before,
                named,
            )


def _position_of(fact: int, files: PackFiles) -> int | None:
    """Where the entry of the sealed population stands in the tree."""
    positions: Iterator[Any] = (
        (json.loads(line)["position"] for line in files.lines(PROOFS))
        if PROOFS in files.names
        else iter(range(1 << 62))
    )
    for line, position in zip(files.lines(ENTRIES), positions, strict=False):
        if MARK in line:
            entry = json.loads(line)
            if entry["kind"] == POPULATION_SEAL and entry["fact"]["id"] == fact:
                return int(position)
    return None


def report_faults(files: PackFiles, unchecked: list[str]) -> Iterator[Fault]:
    """That the report is signed, whole, by the key that the round names; older ones name none.

    unchecked: what is to be said is put there.
    """
    if AUDIT_ROUND not in files.names:
        return
    fingerprint = read_object(files.text(AUDIT_ROUND), AUDIT_ROUND).get("report_key")
    if fingerprint is None:
        unchecked.append("The report of the round was not signed when this pack was made.")
        return
    try:
        yield from signature_faults("the report of the round", AUDIT_REPORT, fingerprint, files)
    except UnknownKind as unknown:
        unchecked.append(f"The signature of the report was not checked: {unknown}.")


def _drawn_faults(facts: Facts, number: int, drawn: list[tuple[str, str]]) -> Iterator[Fault]:
    stored: dict[int, tuple[int, str]] = {}
    for _, known in facts.of_kind(DRAWN_JOB):
        if known["round_id"] == number:
            stored[known["draw_order"]] = (known["job_id"], known["stratum"] or "")
    for order, (name, stratum) in enumerate(drawn, start=1):
        if stored.get(order) != (int(name.removeprefix("J-")), stratum):
            held = stored.get(order)
            found = "none" if held is None else f"J-{held[0]:06} {held[1]}".strip()
            yield Fault(WHERE, f"gives another job at place {order}", name, found)
            return
    if len(stored) != len(drawn):
        yield Fault(WHERE, "gives another number of jobs", str(len(drawn)), str(len(stored)))
