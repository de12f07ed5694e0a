"""The draw written anew from its description, for many seeds at once.

`calculations.sampling.draws` says how a draw is made, so that anyone can write it; this does, in
arrays, and shares nothing with it but the description. Only SHA-256 is done seed by seed.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

import numpy as np

STRATUM_TAG = b"eavesbook stratum 1"
SEED_TAG = b"eavesbook draw 1"


def lengths_first(*parts: bytes) -> bytes:
    """SHA-256 of the parts, each after its length as 8 bytes."""
    return hashlib.sha256(b"".join(len(part).to_bytes(8, "big") + part for part in parts)).digest()


def seed_of(nonce: bytes, root: bytes, round_id: str) -> bytes:
    return lengths_first(SEED_TAG, nonce, root, round_id.encode())


def seed_of_stratum(seed: bytes, stratum: str) -> bytes:
    return lengths_first(STRATUM_TAG, seed, stratum.encode())


def many_draws(seeds: Sequence[bytes], jobs: int, size: int) -> np.ndarray:
    """Places (0 .. jobs - 1, in the order of the names' bytes) drawn, a row for each seed."""
    blocks = range((size + 3) // 4)
    stream = b"".join(
        hashlib.sha256(seed + block.to_bytes(8, "big")).digest()
        for seed in seeds
        for block in blocks
    )
    numbers = np.frombuffer(stream, dtype=">u8").reshape(len(seeds), -1).astype(np.uint64)
    places = np.tile(np.arange(jobs, dtype=np.int32), (len(seeds), 1))
    rows = np.arange(len(seeds))
    for k in range(size):
        left = int(jobs) - k
        fair = np.uint64((2**64 - 2**64 % left) - 1)
        assert (numbers[:, k] <= fair).all(), "one in 2^55 or so: not in these tests"
        other = k + (numbers[:, k] % np.uint64(left)).astype(np.int64)
        held = places[rows, other].copy()
        places[rows, other] = places[:, k]
        places[:, k] = held
    return places[:, :size]
