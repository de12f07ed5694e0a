"""How often one address may ask for certificates: guessing codes is slow."""

from __future__ import annotations

from django.core.cache import cache

LOOKUPS_A_MINUTE = 30
WINDOW_S = 60


def may_look_up(address: str) -> bool:
    """Count a look-up of this network address; False when it had its share of the minute."""
    key = f"certificate-lookups:{address}"
    if cache.add(key, 1, WINDOW_S):
        return True
    try:
        return int(cache.incr(key)) <= LOOKUPS_A_MINUTE
    except ValueError:  # it ran out between the two
        return True
