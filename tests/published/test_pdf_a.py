"""Certificates against clauses of ISO 19005-2 (PDF/A-2a), after they were signed.

No program on PyPI or npm, and none of Debian's, checks PDF/A-2 without fetching parts from
elsewhere. Debian's `libpdfbox2-java` brings Apache PDFBox Preflight, which checks PDF/A-1b: run by
hand over a certificate it found nothing but what PDF/A-2 allows and PDF/A-1 does not (ICC profiles
of version 4, destinations of structure elements, the appearance of a field of no size) and that it
does not know the schema of PDF/UA, which the file describes. The checks here are our own, read
with other people's libraries; what they can't see stands in `pdf_a_clauses`.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import Any

import pikepdf
import pytest
from django.db import transaction
from pikepdf import Array, Dictionary, Name, Pdf

from compliance.certificates.storage import read_pdf
from tests.compliance.scene import certified_scene
from tests.published.pdf_a_clauses import violations
from tests.published.pdf_a_reading import CHECKS


@pytest.fixture(scope="module")
def pdf(django_db_setup: None, django_db_blocker: Any) -> Iterator[bytes]:
    """A signed certificate with its small photos."""
    with django_db_blocker.unblock(), transaction.atomic():
        certificate = certified_scene()[1]
        yield read_pdf(certificate.pdf_name)
        transaction.set_rollback(True)


def test_a_signed_certificate_breaks_none_of_the_clauses(pdf: bytes):
    """ISO 19005-2:2011, clauses 6.1 to 6.11, as `pdf_a_clauses` knows them from memory."""
    assert violations(pdf) == []


def test_each_clause_is_noticed_when_it_is_broken(pdf: bytes):
    """The same checks on a copy in which every one of them is broken on purpose."""
    broken = io.BytesIO()
    with Pdf.open(io.BytesIO(pdf)) as opened:
        break_structure(opened)
        break_graphics(opened)
        break_fonts(opened)
        break_annotations(opened)
        opened.save(broken)
    found = violations(broken.getvalue() + b"more")

    assert {said.split(":")[0] for said in found} == set(CHECKS)


def break_structure(opened: Pdf) -> None:
    """6.1, 6.5 to 6.11."""
    root = opened.Root
    xmp = root.Metadata.read_bytes()
    xmp = xmp.replace(b"conformance>A<", b"conformance>B<")
    xmp = xmp.replace(
        b"<dc:title>", b'<odd:odd xmlns:odd="http://odd.example/">x</odd:odd><dc:title>'
    )
    root.Metadata = opened.make_stream(xmp)
    opened.docinfo["/Title"] = "Another title"
    root.Version = Name("/2.0")
    root.Elsewhere = opened.make_stream(b"", F=pikepdf.String("other.bin"))
    root.Perms = Dictionary(Any=1)
    root.Large = 2**31
    root.OpenAction = Dictionary(S=Name.JavaScript, JS="1")
    root.AA = Dictionary()
    root.MarkInfo.Marked = False
    root.Lang = "English, please"
    root.Names = Dictionary(EmbeddedFiles=Dictionary())
    element = next(one for one in opened.objects if is_a(one, "/Type", "/StructElem"))
    element.S = Name("/Odd")


def break_graphics(opened: Pdf) -> None:
    """6.2.3 to 6.2.10."""
    root, page = opened.Root, opened.pages[0]
    root.OutputIntents[0].DestOutputProfile = opened.make_stream(b"no profile" * 20, N=3)
    page.contents_add(b"0 0 0 1 k")
    picture = next(one for one in opened.objects if is_a(one, "/Subtype", "/Image"))
    picture.Interpolate = True
    root.State = Dictionary(ExtGState=Dictionary(One=Dictionary(TR=Name.Identity, BM=Name("/Odd"))))
    root.Form = opened.make_stream(b"", Subtype=Name.Form, PS=opened.make_stream(b"showpage"))


def break_fonts(opened: Pdf) -> None:
    """6.2.11.3 to 6.2.11.8."""
    page = opened.pages[0]
    composite = list(page.Resources.Font.values())
    one, two, three = (font.DescendantFonts[0] for font in composite[:3])
    del one.CIDToGIDMap
    del two.FontDescriptor.FontFile2
    three.W = Array([1, Array([1234])])
    del composite[0].ToUnicode
    page.contents_add(b"BT <0000> Tj ET")


def break_annotations(opened: Pdf) -> None:
    """6.3 and 6.4; that the signature does not cover the file comes with saving it."""
    opened.Root.AcroForm.NeedAppearances = True
    opened.pages[0].Annots.append(
        Dictionary(Type=Name.Annot, Subtype=Name.Screen, Rect=Array([0, 0, 9, 9]))
    )


def is_a(one: Any, key: str, value: str) -> bool:
    return isinstance(one, pikepdf.Dictionary | pikepdf.Stream) and one.get(key) == Name(value)
