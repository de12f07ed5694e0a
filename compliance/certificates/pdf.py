"""Drawing a certificate: a tagged PDF/A-2a that is PDF/UA-1 too, with packaged fonts only."""

from __future__ import annotations

import io
import json
from datetime import datetime
from functools import lru_cache
from threading import Lock

import segno
import typst

from compliance.certificates.contents import Contents
from compliance.certificates.photos import picture_svg
from compliance.certificates.sheets import template_of
from jobs.papers.characters import drawable
from jobs.papers.typesetting import STANDARDS, packaged_fonts, with_packaged_font

_one_at_a_time = Lock()  # a compiler keeps state between calls


def draw_pdf(contents: Contents) -> bytes:
    """The unsigned PDF. The same contents give the same bytes.

    The clock of the document is the time of issue, the fonts are the packaged ones, and the small
    copies of photos are those whose hashes the contents name.

    Raises:
        PictureLost: a small copy is gone, or not the one that was printed.
    """
    issued_at = datetime.fromisoformat(contents.issued_at)
    values = contents.to_dict() | {
        "qr_svg": qr_code(contents.check_address),
        "drawing_svg": with_packaged_font(contents.drawing_svg),
        "photo_svgs": [picture_svg(photo) for photo in contents.photos_shown],
        "issued_on": f"{issued_at.day} {issued_at:%b %Y}",
        "issued_date": [issued_at.year, issued_at.month, issued_at.day],
    }
    with _one_at_a_time:
        pdf = _compiler(contents.sheet).compile(
            format="pdf",
            sys_inputs={
                "contents": json.dumps(drawable(values), ensure_ascii=False, sort_keys=True)
            },
            pdf_standards=STANDARDS,
            timestamp=int(issued_at.timestamp()),
        )
    assert isinstance(pdf, bytes)
    return pdf


@lru_cache(maxsize=4)
def _compiler(sheet: int) -> typst.Compiler:
    template = template_of(sheet)
    return typst.Compiler(str(template), root=str(template.parent), font_paths=packaged_fonts())


def qr_code(address: str) -> str:
    """A QR code (ISO/IEC 18004, error correction level M) as SVG, with its quiet zone."""
    out = io.BytesIO()
    segno.make(address, error="m", micro=False, boost_error=False).save(
        out, kind="svg", border=4, xmldecl=False, svgclass=None, lineclass=None
    )
    return out.getvalue().decode()
