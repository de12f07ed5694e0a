"""Looks at one PDF in a process of its own: `python -m compliance.audits.pdf_child < file`.

It binds itself first: so much memory, so much time, no file written, whatever the file does to it.
The answer is a line of JSON: `pages`, and `found`, the kinds of what a document has no need of.
No Django here.
"""

from __future__ import annotations

import io
import json
import resource
import sys
from collections.abc import Iterator
from typing import Any

MEMORY_BYTES = 700_000_000
PROCESSOR_SECONDS = 15
MOST_OBJECTS = 300_000
ENCRYPTED, SCRIPT, FILES, LAUNCH, MEDIA, TOO_MUCH = (
    "encrypted",
    "script",
    "files",
    "launch",
    "media",
    "too_much",
)
KEYS = {
    "/JS": SCRIPT,
    "/JavaScript": SCRIPT,
    "/XFA": SCRIPT,
    "/EmbeddedFiles": FILES,
    "/EF": FILES,
    "/RichMedia": MEDIA,
    "/RichMediaContent": MEDIA,
}
"""Keys of dictionaries, ISO 32000-2: 12.6.4.17 (JavaScript actions), 12.7.8 (XFA), 7.7.4 and 7.11.4
(embedded files), 13.7 (rich media)."""
KINDS = {
    ("/S", "/JavaScript"): SCRIPT,
    ("/S", "/Launch"): LAUNCH,
    ("/S", "/ImportData"): LAUNCH,
    ("/S", "/SubmitForm"): LAUNCH,
    ("/Type", "/EmbeddedFile"): FILES,
    ("/Subtype", "/FileAttachment"): FILES,
    ("/Subtype", "/RichMedia"): MEDIA,
    ("/Subtype", "/Screen"): MEDIA,
    ("/Subtype", "/Movie"): MEDIA,
    ("/Subtype", "/3D"): MEDIA,
}
"""What a dictionary is: table 201 (action types), 7.11.4, table 171 (annotation types)."""

NAMING = ("/S", "/Type", "/Subtype")


def look(content: bytes) -> dict[str, Any]:
    """Pages of a PDF, and what it carries besides them. Raises whatever the reader raises."""
    from pyhanko.pdf_utils.reader import PdfFileReader

    reader = PdfFileReader(io.BytesIO(content), strict=False)
    if reader.encrypted:
        return {"pages": 0, "found": [ENCRYPTED]}
    found, pages = set(), 0
    for count, item in enumerate(_dictionaries(reader.root)):
        if count > MOST_OBJECTS:
            found.add(TOO_MUCH)
            break
        names = {
            str(key): str(item.raw_get(key)) for key in ("/S", "/Type", "/Subtype") if key in item
        }
        found |= {KEYS[key] for key in map(str, item) if key in KEYS}
        found |= {KINDS[pair] for pair in names.items() if pair in KINDS}
        pages += names.get("/Type") == "/Page"
    return {"pages": pages, "found": sorted(found)}


def _dictionaries(root: Any) -> Iterator[Any]:
    """Every dictionary that is reached from the catalogue, each once, streams not decoded."""
    from pyhanko.pdf_utils import generic

    waiting, seen = [root], set()
    while waiting:
        item = waiting.pop()
        if isinstance(item, generic.IndirectObject):
            if item.reference in seen:
                continue
            seen.add(item.reference)
            item = item.get_object()  # type: ignore[no-untyped-call]
        if isinstance(item, generic.DictionaryObject):
            yield item
            waiting += [item.raw_get(key) for key in item]
        elif isinstance(item, generic.ArrayObject):
            waiting += [item.raw_get(at) for at in range(len(item))]


def main() -> None:
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (PROCESSOR_SECONDS, PROCESSOR_SECONDS))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    print(json.dumps(look(sys.stdin.buffer.read())))


if __name__ == "__main__":
    main()
