"""The draw of an audit round, written anew from its description, so that it can be repeated.

A seed is SHA-256 over parts, each preceded by its length as 8 bytes. Block i of the numbers is
SHA-256 of the seed and i as 8 bytes; each gives four numbers of 8 bytes. With m names left the
next number below the greatest multiple of m in 2^64 says, by its remainder, which is drawn
(Knuth, The Art of Computer Programming 2, 3.4.2, algorithm P). All numbers highest byte first.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import Any

DRAW, STRATUM = b"eavesbook draw 1", b"eavesbook stratum 1"

Place = tuple[str, str]
"""A drawn job's name and its stratum, "" without strata."""


def repeated_draw(
    nonce: bytes,
    seal_root: bytes,
    round_id: str,
    population: Sequence[Place],
    strata: Sequence[tuple[str, int]],
    widenings: int,
) -> list[Place]:
    """The sample in its order, the first sample and then each widening, stratum by stratum.

    population: each job's name and stratum. strata: names with how many are drawn at first; a
    widening draws as many again, as far as there are jobs.

    Raises:
        ValueError: a stratum that the population has not, or more jobs than it has.
    """
    seed = _hash(DRAW, nonce, seal_root, round_id.encode())
    jobs: dict[str, list[str]] = defaultdict(list)
    for name, stratum in population:
        jobs[stratum].append(name)
    plain = set(jobs) == {""}
    orders: dict[str, list[str]] = {}
    for stratum, first in strata:
        if not 0 <= first <= len(jobs.get(stratum, ())):
            raise ValueError(f"{first} jobs cannot be drawn of stratum {stratum!r}")
        most = min(len(jobs[stratum]), first * (1 + widenings))
        own = seed if plain else _hash(STRATUM, seed, stratum.encode())
        orders[stratum] = _drawn(own, sorted(jobs[stratum], key=str.encode), most)
    found: list[Place] = []
    for stage in range(widenings + 1):
        for stratum, first in strata:
            part = orders[stratum][first * stage : first * (stage + 1)]
            found += ((name, stratum) for name in part)
    return found


def read_population(lines: Iterator[bytes]) -> list[Place]:
    """Jobs of the sealed list: a name, or name, stratum and risk with tabs between."""
    found = []
    for line in lines:
        name, _, rest = line.decode().partition("\t")
        found.append((name, rest.partition("\t")[0]))
    return found


def strata_of(sealed: Any, size: int) -> list[tuple[str, int]]:
    """Strata as the sealed fact has them; without any, one over all."""
    return [(str(s["name"]), int(s["sample"])) for s in sealed] or [("", size)]


def _drawn(seed: bytes, names: list[str], size: int) -> list[str]:
    numbers = _numbers(seed)
    for k in range(size):
        left = len(names) - k
        fair = 2**64 - 2**64 % left
        number = next(n for n in numbers if n < fair)
        at = k + number % left
        names[k], names[at] = names[at], names[k]
    return names[:size]


def _numbers(seed: bytes) -> Iterator[int]:
    block = 0
    while True:
        digest = hashlib.sha256(seed + block.to_bytes(8, "big")).digest()
        for at in range(0, 32, 8):
            yield int.from_bytes(digest[at : at + 8], "big")
        block += 1


def _hash(*parts: bytes) -> bytes:
    return hashlib.sha256(b"".join(len(p).to_bytes(8, "big") + p for p in parts)).digest()
