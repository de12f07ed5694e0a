"""A draw that neither side can steer and anyone can repeat.

The auditor commits to a secret number (the nonce) before the population is sealed; the
Seal's root fixes the population before the nonce is shown. The seed is made of both, so
each side's part was fixed before it could know the other's.

The draw, so that anyone can write it anew:

1. The population is a set of names, sorted by their UTF-8 bytes.
2. Numbers: block i is SHA-256 of the seed followed by i as 8 bytes, highest first, for
   i = 0, 1, 2, ...; each block gives four numbers of 8 bytes, highest first.
3. For k = 0, 1, ..., size - 1, with m = N - k names left: take the next number, skipping
   those at or above the greatest multiple of m that 2^64 holds, so that no name is
   favoured; r is its remainder by m; exchange the names at places k and k + r. The name
   now at place k is drawn (Fisher and Yates; Knuth, TAOCP 2, 3.4.2, algorithm P).
"""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Iterator, Mapping, Sequence

from calculations.sampling.errors import SamplingError, require_whole

LEAST_NONCE_BYTES = 16
"""A shorter nonce could be found by trying them all against the commitment."""

_SEED_TAG = b"eavesbook draw 1"
_STRATUM_TAG = b"eavesbook stratum 1"


def commit_nonce(auditor_nonce: bytes) -> bytes:
    """What the auditor hands over before the population is sealed: SHA-256 of the nonce.

    The nonce is random and used for one round only, so the bare hash both binds and hides
    it, and anyone can check it with any tool. Raises SamplingError for one under 16 bytes.
    """
    _check_nonce(auditor_nonce)
    return hashlib.sha256(auditor_nonce).digest()


def keeps_commitment(commitment: bytes, auditor_nonce: bytes) -> bool:
    """Whether the nonce now shown is the one committed to."""
    return hmac.compare_digest(commitment, commit_nonce(auditor_nonce))


def draw_seed(auditor_nonce: bytes, seal_root: bytes, round_id: str) -> bytes:
    """The draw's seed, 32 bytes: SHA-256 over the nonce, the Seal's root and the round.

    Each part is preceded by its length as 8 bytes, so that no two sets of parts run into
    the same bytes. Raises SamplingError for a nonce under 16 bytes or an empty root or
    round.
    """
    _check_nonce(auditor_nonce)
    if not seal_root:
        raise SamplingError("seal_root", "is empty.", "Give the root of the Seal.")
    if not round_id:
        raise SamplingError("round_id", "is empty.", "Give the round's identifier.")
    return _hash(_SEED_TAG, auditor_nonce, seal_root, round_id.encode())


def stratum_seed(seed: bytes, stratum: str) -> bytes:
    """A seed of its own for one stratum of a stratified draw."""
    return _hash(_STRATUM_TAG, seed, stratum.encode())


def draw(seed: bytes, population: Sequence[str], size: int) -> tuple[str, ...]:
    """`size` names of `population`, in the order drawn; the order given does not matter.

    Every set of names is equally likely over seeds. Raises SamplingError for a name that
    occurs twice, an empty seed, or a size that the population does not have.
    """
    if not seed:
        raise SamplingError("seed", "is empty.", "Make one with draw_seed.")
    names = sorted(population, key=str.encode)
    twice = next((a for a, b in zip(names, names[1:], strict=False) if a == b), None)
    if twice is not None:
        raise SamplingError("population", f"holds {twice!r} twice.", "Name each job once.")
    require_whole("size", size, 0, len(names))
    moved: dict[int, int] = {}
    drawn: list[str] = []
    numbers = _numbers(seed)
    for k in range(size):
        j = k + _below(len(names) - k, numbers)
        drawn.append(names[moved.get(j, j)])
        moved[j] = moved.get(k, k)
    return tuple(drawn)


def draw_stratified(
    seed: bytes, strata: Mapping[str, Sequence[str]], sizes: Mapping[str, int]
) -> dict[str, tuple[str, ...]]:
    """A draw within each stratum, each by its own `stratum_seed`."""
    unknown = sorted(set(sizes) - set(strata))
    if unknown:
        raise SamplingError("sizes", f"names {unknown[0]!r}.", "Name strata that exist.")
    return {
        name: draw(stratum_seed(seed, name), population, sizes.get(name, 0))
        for name, population in strata.items()
    }


def _check_nonce(auditor_nonce: bytes) -> None:
    if len(auditor_nonce) < LEAST_NONCE_BYTES:
        raise SamplingError(
            "auditor_nonce",
            f"has {len(auditor_nonce)} bytes.",
            f"Use {LEAST_NONCE_BYTES} random bytes or more, e.g. secrets.token_bytes(32).",
        )


def _hash(*parts: bytes) -> bytes:
    digest = hashlib.sha256()
    for part in parts:
        digest.update(len(part).to_bytes(8, "big"))
        digest.update(part)
    return digest.digest()


def _numbers(seed: bytes) -> Iterator[int]:
    counter = 0
    while True:
        block = hashlib.sha256(seed + counter.to_bytes(8, "big")).digest()
        for at in range(0, 32, 8):
            yield int.from_bytes(block[at : at + 8], "big")
        counter += 1


def _below(limit: int, numbers: Iterator[int]) -> int:
    """The next number taken down to 0 .. limit - 1, every one equally likely."""
    fair = 2**64 - 2**64 % limit
    number = next(numbers)
    while number >= fair:
        number = next(numbers)
    return number % limit
