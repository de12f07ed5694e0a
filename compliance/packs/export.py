"""Making a pack: file after file, so that the largest needs no more memory than the smallest."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import chain
from pathlib import Path

from django.utils import timezone

from compliance.ledger.kinds import KINDS
from compliance.ledger.seals import LedgerRewritten, make_seal, public_bytes, seal_key
from compliance.models import Seal
from compliance.packs import lines
from compliance.packs.chain import chain_lines
from compliance.packs.derived import derived_lines
from compliance.packs.erased import Erased
from compliance.packs.kept_files import kept_files
from compliance.packs.manifest import Manifest
from compliance.packs.readme import readme
from compliance.packs.scope import PackScope, entries_of
from compliance.packs.scratch import Entries, Scratch
from compliance.packs.sinks import FolderSink, Outgoing, Sink, ZipSink
from compliance.packs.strays import stray_lines
from compliance.packs.tracked import Tracked
from compliance.verify import layout

SEND_BYTES = 1 << 18
"""A zip is sent in pieces of about this size, however small its files are."""


def export_to_folder(scope: PackScope, folder: Path) -> Counter[str]:
    """Write a pack as a folder; returns numbers of facts by kind.

    Raises:
        FileExistsError: the folder is there already.
    """
    pack = PackWriter(scope, FolderSink(folder))
    for _ in pack.write():
        pass
    return pack.counts


def zip_chunks(scope: PackScope) -> Iterator[bytes]:
    """A pack as the bytes of a zip, made while they are taken."""
    outgoing = Outgoing()
    made_at = timezone.now()
    sink = ZipSink(outgoing, pack_name(made_at))
    for _ in PackWriter(scope, sink, made_at).write():
        if outgoing.waiting >= SEND_BYTES:
            yield outgoing.take()
    yield outgoing.take()


def pack_name(made_at: datetime) -> str:
    return f"evidence-pack-{made_at.astimezone(UTC):%Y%m%dT%H%M%SZ}"


@dataclass
class PackWriter:
    """Writes one pack. `write` yields after each piece, so that a server can send it on."""

    scope: PackScope
    sink: Sink
    made_at: datetime = field(default_factory=timezone.now)
    counts: Counter[str] = field(default_factory=Counter)
    _manifest: Manifest = field(default_factory=Manifest)
    _scratch: Scratch = field(default_factory=Scratch)

    def write(self) -> Iterator[None]:
        seal = self._seal()
        entries = entries_of(self.scope, seal, self._scratch)
        yield from self._ledger(seal, entries)
        yield from self._kept_files(entries)
        yield from self._present(seal)
        yield from self._extra(seal)
        yield from self._put(layout.PACK, iter([self._pack_json(seal)]))
        yield from self._tags()
        self.sink.close()
        self._scratch.close()
        yield

    def _seal(self) -> Seal:
        """A fresh Seal; the last one of a ledger that was rewritten, so that the pack shows it."""
        try:
            return make_seal()
        except LedgerRewritten:
            return Seal.objects.latest("tree_size", "id")

    def _ledger(self, seal: Seal, entries: Entries) -> Iterator[None]:
        seals = lines.chosen_seals(seal, self.scope.seals)
        yield from self._put(layout.ENTRIES, lines.entry_lines(entries))
        rows = chain(lines.row_lines(entries), stray_lines(self.scope, seal))
        yield from self._put(layout.ROWS, rows)
        yield from self._put(layout.CONTENTS, lines.content_lines(entries, self.scope.withheld))
        if not self.scope.is_whole:
            yield from self._put(layout.PROOFS, lines.proof_lines(entries, seal))
        yield from self._put(layout.SEALS, lines.seal_lines(seals))
        yield from self._put(layout.CONSISTENCY, lines.consistency_lines(seals))
        yield from self._put(layout.CHAIN, chain_lines(seal, whole=self.scope.is_whole))

    def _kept_files(self, entries: Entries) -> Iterator[None]:
        """Photos and certificates, each once. On the way facts are counted."""
        erased, tracked = Erased(), Tracked(self._scratch)
        for rows in lines.rows_of(entries):
            self.counts.update(row.kind for row in rows)
            tracked.note(rows)
            for name, chunks in kept_files(rows, self.scope.left_out, erased):
                if self._scratch.is_new(name):
                    yield from self._put(name, chunks, packed=False)

    def _present(self, seal: Seal) -> Iterator[None]:
        """Rows that can be edited as they are now, and what follows from others."""
        yield from self._put(layout.PRESENT, Tracked(self._scratch).lines(self.scope, seal))
        yield from self._put(layout.DERIVED, derived_lines(self.scope, seal, self._scratch))

    def _extra(self, seal: Seal) -> Iterator[None]:
        """What the scope adds for its readers."""
        if self.scope.extra is not None:
            for name, chunks in self.scope.extra.files(seal):
                yield from self._put(name, chunks)

    def _pack_json(self, seal: Seal) -> bytes:
        said = {
            "version": layout.PACK_VERSION,
            "scope": layout.SCOPE_WHOLE if self.scope.is_whole else layout.SCOPE_JOBS,
            "title": self.scope.title,
            "made_at": self._made_at_text,
            "jobs": None if self.scope.jobs is None else list(self.scope.jobs),
            "seal": seal.pk,
            "counts": dict(sorted(self.counts.items())),
            "hashed": {kind: list(columns) for kind, columns in KINDS.items() if columns},
            "withheld": sorted(self.scope.withheld),
            "left_out": sorted(self.scope.left_out),
        }
        return json.dumps(said, ensure_ascii=False, indent=1).encode() + b"\n"

    def _tags(self) -> Iterator[None]:
        """The files beside data/, and the signature over them all."""
        payload, self._manifest = self._manifest, Manifest()
        info = (
            f"Bagging-Date: {self.made_at.astimezone(UTC):%Y-%m-%d}\n"
            f"External-Description: {' '.join(self.scope.title.split())}\n"
            f"Payload-Oxum: {payload.bytes}.{payload.files}\n"
        )
        key = seal_key()
        key_hex = public_bytes(key.public_key()).hex()
        words = readme(self.scope, self._made_at_text, key_hex, self.counts)
        for name, text in (
            (layout.BAGIT, layout.BAGIT_TEXT),
            (layout.BAG_INFO, info),
            (layout.README, words),
        ):
            yield from self._put(name, iter([text.encode()]))
        yield from self._put(layout.MANIFEST, payload.chunks())
        tags = b"".join(self._manifest.chunks())
        self._manifest = Manifest()
        yield from self._put(layout.TAG_MANIFEST, iter([tags]))
        signed = layout.signature_text(hashlib.sha256(tags).hexdigest(), self._made_at_text)
        signature = layout.signed_file(signed, key_hex, key.sign(signed.encode()).hex())
        yield from self._put(layout.SIGNATURE, iter([signature.encode()]))

    def _put(self, name: str, chunks: Iterator[bytes], *, packed: bool = True) -> Iterator[None]:
        digest, size = hashlib.sha256(), 0
        with self.sink.open(name, packed=packed) as file:
            for chunk in chunks:
                digest.update(chunk)
                size += len(chunk)
                file.write(chunk)
                yield
        self._manifest.add(name, digest.hexdigest(), size)
        yield

    @property
    def _made_at_text(self) -> str:
        return f"{self.made_at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"
