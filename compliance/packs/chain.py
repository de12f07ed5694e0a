"""Every Seal up to the pack's, in few bytes, so that a missing one is noticed.

A pack of the whole ledger tells each one's size, root and time, from which its text follows, and so
all hashes up to the last Seal, which is signed. A pack of some jobs tells the numbers of them: a
line for as many as follow one another. A Seal that is not what it should be is given whole.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from compliance.ledger.seals import signature_holds, text_agrees
from compliance.models import Seal
from compliance.packs.lines import json_line, seal_values
from compliance.verify.chain import Chain
from compliance.verify.layout import link_of

STEP = 2000


def chain_lines(upto: Seal, *, whole: bool) -> Iterator[bytes]:
    seals = Seal.objects.filter(pk__lte=upto.pk).order_by("id").iterator(STEP)
    return _each(seals, upto) if whole else _runs(seals)


def _each(seals: Iterator[Seal], upto: Seal) -> Iterator[bytes]:
    chain = Chain()
    for seal in seals:
        follows = not list(chain.take(seal.signed_text, ""))
        signed = bytes(seal.public_key) == bytes(upto.public_key) and signature_holds(seal)
        values = seal_values(seal)
        if follows and signed and text_agrees(seal):
            link = link_of(seal.signed_text)
            wanted = ("tree_size", "root_hash", "made_at")
            values = {"number": link and link.number} | {name: values[name] for name in wanted}
        yield json_line(values)


def _runs(seals: Iterator[Seal]) -> Iterator[bytes]:
    """A run ends before a Seal that does not follow, which is given whole, and where Seals begin
    to be numbered."""
    chain, first = Chain(), 1
    for seal in seals:
        before = replace(chain)
        follows = not list(chain.take(seal.signed_text, ""))
        plain = follows and text_agrees(seal)
        if plain and chain.linked == before.linked:
            continue
        yield from _run(before, first)
        first = chain.count
        if not plain:
            yield json_line(seal_values(seal))
            first = chain.count + 1
    yield from _run(chain, first)


def _run(chain: Chain, first: int) -> Iterator[bytes]:
    """The Seals from number `first` on, up to where the chain is."""
    if chain.count >= first:
        yield json_line(
            {
                "first": first,
                "last": chain.count,
                "sha256": chain.before,
                "linked": chain.linked,
            }
        )
