"""Checking an evidence pack, or a service's Seals, with nothing but what is given and a key.

Needs neither Django, nor a database, nor a connection: only Python. Run it as
`python -m compliance.verify PACK_OR_URL --key FILE`. What a pack is made of stands in
`compliance.verify.layout`.
"""

from __future__ import annotations

from compliance.verify.faults import Fault, PackReport, Unsound
from compliance.verify.keys import read_keys
from compliance.verify.pack import verify_pack
from compliance.verify.sources import FolderSource, MemorySource, open_source
from compliance.verify.zip_source import ZipSource

__all__ = [
    "Fault",
    "FolderSource",
    "MemorySource",
    "PackReport",
    "Unsound",
    "ZipSource",
    "open_source",
    "read_keys",
    "verify_pack",
]
