"""Checking a service by its public API: its Seals, that each continues the one before, and that
Seals kept from earlier are among them."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from datetime import UTC, datetime
from urllib.parse import urlencode

from compliance.verify.chain import Chain, chain_note
from compliance.verify.faults import Fault, PackReport, Unsound
from compliance.verify.fetching import Fetcher
from compliance.verify.reading_json import read_object
from compliance.verify.seals import (
    ReadSeal,
    continues,
    path_of,
    seal_faults,
    seal_of,
)

SEALS_ADDRESS = "/api/v1/ledger/seals/"
CONSISTENCY_ADDRESS = "/api/v1/ledger/consistency/"
A_PAGE = 500
MOST_PAGES = 200
MOST_STEPS = 100
MOST_FAULTS = 20


def verify_service(
    fetcher: Fetcher, keys: Collection[bytes], *, kept_seals: Sequence[ReadSeal] = ()
) -> PackReport:
    """Every Seal's signature, and up to MOST_STEPS proofs that lead from the first to the last.

    Raises:
        FetchError: the service could not be asked.
    """
    faults: list[Fault] = []
    seals: list[ReadSeal] = []
    notes: tuple[str, ...] = ()
    try:
        seals = fetch_seals(fetcher)
        for fault in _faults(fetcher, seals, frozenset(keys), kept_seals):
            faults.append(fault)
            if len(faults) >= MOST_FAULTS:
                break
    except Unsound as unsound:
        faults.append(unsound.fault)
    if seals:
        notes = (
            "Only Seals and the proofs between them were checked; facts are checked from a pack.",
            chain_note(seals[-1], whole=True),
        )
    return PackReport(0, len(seals), 0, 0, notes, tuple(faults))


def fetch_seals(fetcher: Fetcher) -> list[ReadSeal]:
    """All Seals, the smallest first. Raises Unsound, FetchError."""
    found: list[ReadSeal] = []
    address: str | None = f"{SEALS_ADDRESS}?{urlencode({'page_size': A_PAGE})}"
    for _ in range(MOST_PAGES):
        if address is None:
            break
        page = read_object(fetcher.text(address), address)
        rows, address = page.get("results"), page.get("next")
        if not isinstance(rows, list) or not (address is None or isinstance(address, str)):
            raise Unsound(SEALS_ADDRESS, "does not answer with a list of Seals")
        for row in rows:
            if not isinstance(row, dict):
                raise Unsound(SEALS_ADDRESS, "lists something that is no Seal")
            found.append(seal_of({**row, "made_at": _as_signed(row.get("made_at"))}, "a Seal"))
    if not found:
        raise Unsound(SEALS_ADDRESS, "there is no Seal yet, so nothing can be checked")
    return sorted(found, key=lambda seal: (seal.tree_size, seal.number))


def _as_signed(made_at: object) -> str:
    """UTC as the signed text writes it; the API gives it in the service's own time zone."""
    try:
        return f"{datetime.fromisoformat(str(made_at)).astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"
    except ValueError as error:
        raise Unsound(SEALS_ADDRESS, "gives no time that can be read", found=made_at) from error


def _faults(
    fetcher: Fetcher,
    seals: list[ReadSeal],
    keys: frozenset[bytes],
    kept_seals: Sequence[ReadSeal],
) -> Iterator[Fault]:
    for seal in seals:
        yield from seal_faults(seal, keys)
    chain = Chain()
    for seal in seals:
        yield from chain.take(seal.signed_text, seal.name)
    for kept in kept_seals:
        yield from seal_faults(kept, keys)
        same = [seal for seal in seals if seal.tree_size == kept.tree_size]
        if not same:
            yield Fault(kept.name, "which you kept, is not among the Seals of the service")
        elif all(seal.root != kept.root for seal in same):
            yield Fault(
                kept.name,
                "which you kept, is not continued by this ledger: it was rewritten",
                kept.root.hex(),
                same[0].root.hex(),
            )
    must = {kept.tree_size for kept in kept_seals}
    chosen = _steps(seals, must)
    for earlier, later in zip(chosen, chosen[1:], strict=False):
        if not continues(earlier, later, _proof(fetcher, earlier, later)):
            yield Fault(later.name, f"does not continue {earlier.name}")


def _steps(seals: list[ReadSeal], must: set[int]) -> list[ReadSeal]:
    """Seals to go by: evenly apart, the first, the last, and those of the sizes in `must`."""
    each = max(1, len(seals) // MOST_STEPS)
    return [
        seal
        for n, seal in enumerate(seals)
        if n % each == 0 or n == len(seals) - 1 or seal.tree_size in must
    ]


def _proof(fetcher: Fetcher, earlier: ReadSeal, later: ReadSeal) -> list[bytes]:
    if earlier.tree_size == later.tree_size:
        return []
    query = urlencode({"first": earlier.number, "second": later.number})
    where = f"{CONSISTENCY_ADDRESS}?{query}"
    return path_of(read_object(fetcher.text(where), where), where)
