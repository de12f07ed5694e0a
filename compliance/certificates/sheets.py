"""The editions of the sheet. A certificate made again is set on the edition it was issued on.

To change the sheet: copy the newest `sheet_N.typ` to the next number, change that one, raise SHEET.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

FOLDER = Path(__file__).parent / "typst"
SHEET = 5
SIGNED_AS_PDF_2 = (1, 2)
"""Editions whose signature marked the file as PDF 2.0, though PDF/A-2 is a PDF 1.7."""
ONCE_WRITTEN_AS = {"typst 0.15.2": "Typst 0.15.1"}
"""Certificates once named the Python package, whose number is its own, not the typesetter's."""


@cache
def typesetter() -> str:
    """What sets certificates, as the files name it themselves, such as "Typst 0.15.1"."""
    import typst  # half a second, and most requests set nothing

    return f"Typst {json.loads(typst.eval(b'', 'str(sys.version)'))}"


def template_of(sheet: int) -> Path:
    """Raises FileNotFoundError for an edition that there never was."""
    template = FOLDER / f"sheet_{sheet}.typ"
    if not template.is_file():
        raise FileNotFoundError(f"There is no edition {sheet} of the certificate's sheet.")
    return template


def was_pdf_2(sheet: int) -> bool:
    """Whether the signature of this edition marked the file as PDF 2.0."""
    return sheet in SIGNED_AS_PDF_2
