"""Seals: signed tree heads. Whoever holds one notices any later change of what it covers."""

from __future__ import annotations

from datetime import UTC
from functools import lru_cache

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from django.conf import settings
from django.db import transaction
from django.utils import timezone

from compliance.certificates.keys import read_or_make
from compliance.ledger.sequence import sequence_entries
from compliance.ledger.stored_tree import StoredTree
from compliance.models import Seal
from compliance.verify.layout import NO_SEAL_BEFORE, SealLink, link_of, seal_text, text_sha256
from jobs.errors import Conflict

KEY_FILE = "seal-signing.pem"


class LedgerRewritten(Conflict):
    """The stored tree does not continue the last Seal."""


def make_seal() -> Seal:
    """Put all committed entries in the tree and sign its head.

    When nothing was added since the last Seal that one is returned; two calls at once make
    one Seal after the other.

    Raises:
        LedgerRewritten: the tree no longer continues the last Seal. Nothing is signed then.
    """
    with transaction.atomic():
        try:
            size = sequence_entries()  # holds the sequencer's lock until this transaction ends
        except LookupError as error:  # a position is empty
            raise _rewritten(Seal.objects.first()) from error
        last = Seal.objects.first()
        tree = StoredTree()
        if last is not None:
            _refuse_rewritten(last, size, tree)
            if last.tree_size == size:
                return last
        root = tree.root(size)
        made_at = timezone.now().replace(microsecond=0)
        when = f"{made_at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"
        text = seal_text(size, root.hex(), when, _link_to(last))
        key = seal_key()
        return Seal.objects.create(
            tree_size=size,
            root_hash=root,
            made_at=made_at,
            signed_text=text,
            signature=key.sign(text.encode()),
            public_key=public_bytes(key.public_key()),
        )


def _link_to(last: Seal | None) -> SealLink:
    """The next number, and the Seal before by its text; called under the sequencer's lock.

    Whoever holds a Seal so knows how many there were, and that none was slipped in between.
    """
    if last is None:
        return SealLink(1, NO_SEAL_BEFORE)
    link = link_of(last.signed_text)
    number = Seal.objects.count() if link is None else link.number
    return SealLink(number + 1, text_sha256(last.signed_text))


def _refuse_rewritten(last: Seal, size: int, tree: StoredTree) -> None:
    """A signature under a ledger that lost or changed entries would help to hide it."""
    try:
        continues = last.tree_size <= size and tree.root(last.tree_size) == bytes(last.root_hash)
    except LookupError:
        continues = False
    if not continues:
        raise _rewritten(last)


def _rewritten(last: Seal | None) -> LedgerRewritten:
    return LedgerRewritten(
        f"The ledger no longer continues {last or 'itself'}: entries were changed or taken away.",
        remedy="Nothing is sealed until somebody found out why: `manage.py verify_ledger` "
        "names the first thing wrong.",
    )


def seal_key() -> Ed25519PrivateKey:
    """The Ed25519 key in use; made at the first start."""
    return _load(str(settings.CERTIFICATE_KEY_FOLDER))


def public_bytes(key: Ed25519PublicKey) -> bytes:
    return key.public_bytes(serialization.Encoding.Raw, serialization.PublicFormat.Raw)


def signature_holds(seal: Seal) -> bool:
    """Whether the seal's own public key signed its text."""
    key = Ed25519PublicKey.from_public_bytes(bytes(seal.public_key))
    try:
        key.verify(bytes(seal.signature), seal.signed_text.encode())
    except InvalidSignature:
        return False
    return True


def text_agrees(seal: Seal) -> bool:
    """Whether the signed text says what the seal's columns say."""
    when = f"{seal.made_at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"
    link = link_of(seal.signed_text)
    return seal.signed_text == seal_text(seal.tree_size, seal.root_hex, when, link)


@lru_cache(maxsize=4)
def _load(folder: str) -> Ed25519PrivateKey:
    key = serialization.load_pem_private_key(read_or_make(KEY_FILE, _make_key), password=None)
    if not isinstance(key, Ed25519PrivateKey):
        raise TypeError(f"{KEY_FILE} holds no Ed25519 key. Put one there, or take the file away.")
    return key


def _make_key() -> bytes:
    return Ed25519PrivateKey.generate().private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
