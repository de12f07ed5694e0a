"""Whether facts fit one another: files with their facts, verdicts with the evidence they name."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from typing import Any

from compliance.verify.certificate_keys import UnknownKind
from compliance.verify.facts import NAMES, Facts
from compliance.verify.faults import Fault
from compliance.verify.layout import (
    ASSESSMENT,
    BYTES,
    CERTIFICATE,
    CERTIFICATES,
    CHECK,
    HANDOVER,
    PHOTO,
    PHOTOS,
    READING,
    WORK_STEP,
)
from compliance.verify.pdf_signature import BadSignature, check_signature
from compliance.verify.reading_json import read_object
from compliance.verify.sources import PackFiles

# Evidence named in an assessment's inputs: field, kind, fields that must be the fact's own.
NAMED_LISTS = (
    ("readings", READING, ("x_mm", "y_mm", "depth_mm", "allowance")),
    ("photos", PHOTO, ("sha256", "moment")),
)
NAMED_ONES = (
    ("pre_start_check", CHECK, ("safe_to_start",)),
    ("handover", HANDOVER, ("all_done", "not_done_reason")),
)


def link_faults(facts: Facts) -> Iterator[Fault]:
    """That what a fact names is in the pack, and that no assessment of a job is missing."""
    for kind, number, of, named in facts.missing_links():
        yield Fault(
            facts.name(kind, number), f"names {NAMES.get(of, of)} {named}, which is missing"
        )
    for job, found in facts.gaps_in_verdicts():
        yield Fault(
            f"assessments of job {job}",
            "are not all there",
            f"numbers 1 to {max(found)}",
            ", ".join(str(n) for n in found),
        )


def text_faults(facts: Facts, kind: str, number: int, column: str, text: str) -> Iterator[Fault]:
    """That a verdict rests on evidence that is in the pack and says the same."""
    if kind != ASSESSMENT:
        return
    where = f"assessment {number}"
    known = facts.values(ASSESSMENT, number) or {}
    if column == "inputs":
        inputs = read_object(text, f"the inputs of {where}")
        if canonical_sha256(inputs) != known["inputs_sha256"]:
            yield Fault(
                where,
                "its inputs do not give their SHA-256",
                str(known["inputs_sha256"]),
                canonical_sha256(inputs),
            )
        yield from _named(facts, inputs, where)
    elif column == "arithmetic" and text:
        arithmetic = read_object(text, f"the arithmetic of {where}")
        if arithmetic.get("verdict") != known["verdict"]:
            yield Fault(
                where,
                "its verdict is not that of its arithmetic",
                str(arithmetic.get("verdict")),
                str(known["verdict"]),
            )


def _named(facts: Facts, inputs: Mapping[str, Any], where: str) -> Iterator[Fault]:
    named: list[tuple[str, Any, tuple[str, ...]]] = [
        (kind, one, fields) for name, kind, fields in NAMED_LISTS for one in inputs[name]
    ]
    named += [(kind, inputs[name], fields) for name, kind, fields in NAMED_ONES if inputs[name]]
    steps = (inputs.get("work_steps") or {}).values()
    named += [(WORK_STEP, one, ("outcome", "note")) for one in steps if one]
    for kind, one, fields in named:
        thing = f"{NAMES[kind]} {one['id']}"
        fact = facts.values(kind, one["id"])
        if fact is None:
            yield Fault(where, f"rests on {thing}, which is missing from the pack")
            continue
        for name in fields:
            if name in one and one[name] != fact[name]:
                yield Fault(
                    where,
                    f"rests on another {name} of {thing} than its entry has",
                    repr(fact[name]),
                    repr(one[name]),
                )


def canonical_sha256(values: Mapping[str, Any]) -> str:
    """SHA-256 of JSON with sorted keys, no blanks, UTF-8: how inputs are hashed."""
    text = json.dumps(values, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def certificate_faults(facts: Facts) -> Iterator[Fault]:
    """That each certificate is on a verdict that meets, of its own job."""
    for number, known in facts.of_kind(CERTIFICATE):
        verdict = facts.values(ASSESSMENT, known["assessment_id"])
        where = facts.name(CERTIFICATE, number)
        if verdict is not None and verdict["job_id"] != known["job_id"]:
            yield Fault(where, "rests on an assessment of another job")
        elif verdict is not None and verdict["verdict"] != "meets":
            yield Fault(where, "rests on a verdict that does not meet", "meets", verdict["verdict"])


def photo_faults(facts: Facts, files: PackFiles) -> Iterator[Fault]:
    for number, known in facts.of_kind(PHOTO):
        sha256 = known["sha256"]
        if f"{PHOTOS}{sha256}" not in files.names and facts.is_erased(PHOTO, number, BYTES):
            continue
        yield from _file_faults(f"photo {number}", f"{PHOTOS}{sha256}", sha256, files)


def pdf_faults(facts: Facts, files: PackFiles, unchecked: list[str]) -> Iterator[Fault]:
    """Files of certificates and their signatures. unchecked: what is to be said is put there."""
    for number, known in facts.of_kind(CERTIFICATE):
        name = f"{CERTIFICATES}{known['code']}.pdf"
        where = facts.name(CERTIFICATE, number)
        faults = list(_file_faults(where, name, known["pdf_sha256"], files))
        try:
            yield from faults or signature_faults(where, name, known["key_fingerprint"], files)
        except UnknownKind as unknown:
            unchecked.append(f"The signature of {where} was not checked: {unknown}.")


def signature_faults(
    where: str, name: str, fingerprint: str | None, files: PackFiles
) -> Iterator[Fault]:
    """That the file is signed, whole, and by the key that its entry names, where it names one.

    Raises UnknownKind.
    """
    try:
        signer = check_signature(b"".join(files.chunks(name)))
    except BadSignature as bad:
        yield Fault(where, f"its signature {bad}")
        return
    if fingerprint and signer.fingerprint != fingerprint:
        yield Fault(
            where, "is signed by another key than its entry names", fingerprint, signer.fingerprint
        )


def _file_faults(where: str, name: str, sha256: str, files: PackFiles) -> Iterator[Fault]:
    if name not in files.names:
        yield Fault(where, f"its file {name} is missing from the pack")
    elif files.digest(name) != sha256:
        yield Fault(
            where, f"its file {name} is not the one that was recorded", sha256, files.digest(name)
        )
