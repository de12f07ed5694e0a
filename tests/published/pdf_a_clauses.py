"""Clauses of ISO 19005-2:2011 (PDF/A-2) that can be checked without knowing who wrote a file.

Read with `pikepdf` (qpdf), `lxml` and `fontTools`, none of which makes our files. The numbers of
the clauses and what they ask are from memory of the standard, unconfirmed: we hold no copy of it.

What can't be seen here: whether glyphs look as they should and reading order makes sense; byte
details of syntax that qpdf repairs as it reads (white space round `obj`, cross-reference format);
Type 1, CFF and Type 3 programs; JPEG 2000; the calculations of ICC profiles beyond their header;
halftones and rendering intents; whether an alternative text says what its picture shows.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from typing import Any

import pikepdf
from lxml import etree
from pikepdf import Dictionary, Name, Pdf

import tests.published.pdf_a_drawn  # noqa: F401 (its checks join the list)
from tests.published.pdf_a_reading import (
    CHECKS,
    annotations,
    clause,
    dictionaries,
    instructions,
    of_type,
    plain,
    streams,
    words,
)

XMP_OF_THE_STANDARD = {
    "http://purl.org/dc/elements/1.1/",
    "http://ns.adobe.com/xap/1.0/",
    "http://ns.adobe.com/pdf/1.3/",
    "http://ns.adobe.com/xap/1.0/mm/",
    "http://ns.adobe.com/xap/1.0/sType/ResourceEvent#",
    "http://ns.adobe.com/xap/1.0/t/pg/",
    "http://www.aiim.org/pdfa/ns/id/",
    "http://www.aiim.org/pdfa/ns/extension/",
    "http://www.aiim.org/pdfa/ns/schema#",
    "http://www.aiim.org/pdfa/ns/property#",
}
RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
PDFA_ID = "http://www.aiim.org/pdfa/ns/id/"
PDFA_SCHEMA = "http://www.aiim.org/pdfa/ns/schema#"
STANDARD_TYPES = words(
    """
    Document Part Art Sect Div BlockQuote Caption TOC TOCI Index NonStruct Private P H H1 H2 H3
    H4 H5 H6 L LI Lbl LBody Table TR TH TD THead TBody TFoot Span Quote Note Reference BibEntry
    Code Link Annot Ruby RB RT RP Warichu WT WP Figure Formula Form
    """
)
FORBIDDEN_ACTIONS = words(
    """
    Launch Sound Movie ResetForm ImportData Hide SetOCGState Rendition Trans GoTo3DView
    JavaScript
    """
)
FORBIDDEN_ANNOTATIONS = {"3D", "Sound", "Screen", "Movie"}
PRINT, UNSEEN = 4, 1 | 2 | 32 | 256
"""Of an annotation's flags: Print; Invisible, Hidden, NoView and ToggleNoView."""


def violations(pdf: bytes) -> list[str]:
    """Sentences beginning with the clause; none where nothing was found."""
    with Pdf.open(io.BytesIO(pdf)) as opened:
        return [
            f"{clause}: {said}" for clause, check in CHECKS.items() for said in check(pdf, opened)
        ]


# ---- 6.1 File structure
@clause("6.1.2")
def header(pdf: bytes, opened: Pdf) -> Iterator[str]:
    if not re.match(rb"%PDF-1\.[0-7][\r\n]+%[\x80-\xff]{4}", pdf):
        yield "the file does not begin with %PDF-1.n and a comment of four high bytes"
    raised = opened.Root.get("/Version")
    if raised is not None and not re.fullmatch(r"/1\.[0-7]", str(raised)):
        yield f"the catalog makes it a PDF {plain(raised)}, and PDF/A-2 is PDF 1.7"


@clause("6.1.3")
def trailer(pdf: bytes, opened: Pdf) -> Iterator[str]:
    if "/ID" not in opened.trailer or not all(bytes(one) for one in opened.trailer["/ID"]):
        yield "the trailer has no ID"
    if "/Encrypt" in opened.trailer:
        yield "the file is encrypted"
    if not re.search(rb"%%EOF(\r\n|\r|\n)?\Z", pdf):
        yield "something follows the last %%EOF"


@clause("6.1.7")
def packing(pdf: bytes, opened: Pdf) -> Iterator[str]:
    for stream in streams(opened):
        kept = stream.stream_dict
        if {"/F", "/FFilter", "/FDecodeParms"} & set(kept.keys()):
            yield "a stream lies in another file"
        filters = kept.get("/Filter", [])
        for one in [filters] if isinstance(filters, Name) else filters:
            if plain(one) in ("LZWDecode", "Crypt"):
                yield f"a stream is packed by {plain(one)}"


@clause("6.1.12")
def permissions(pdf: bytes, opened: Pdf) -> Iterator[str]:
    if set(opened.Root.get("/Perms", Dictionary()).keys()) - {"/UR3", "/DocMDP"}:
        yield "there are other permissions than UR3 and DocMDP"


@clause("6.1.13")
def limits(pdf: bytes, opened: Pdf) -> Iterator[str]:
    if len(opened.objects) > 8_388_607:
        yield "there are too many objects"
    for one in dictionaries(opened):
        for key, value in one.items() if isinstance(one, Dictionary) else ():
            if len(key.encode()) > 128:
                yield f"the name {key[:20]}… is too long"
            if isinstance(value, int) and not -(2**31) <= value < 2**31:
                yield f"{key} is {value}"
            if isinstance(value, pikepdf.String) and len(bytes(value)) > 32_767:
                yield f"the string {key} is too long"
    depth = deepest = 0
    for operator, _ in instructions(opened):
        depth += (operator == "q") - (operator == "Q")
        deepest = max(deepest, depth)
    if deepest > 28:
        yield f"q is nested {deepest} deep"


# ---- 6.3 and 6.4 Annotations and forms
@clause("6.3.1")
def annotation_kinds(pdf: bytes, opened: Pdf) -> Iterator[str]:
    for one in annotations(opened):
        if plain(one.Subtype) in FORBIDDEN_ANNOTATIONS:
            yield f"there is an annotation {plain(one.Subtype)}"


@clause("6.3.2")
def annotation_flags(pdf: bytes, opened: Pdf) -> Iterator[str]:
    for one in annotations(opened):
        flags = int(one.get("/F", 0))
        if one.Subtype != Name.Popup and (not flags & PRINT or flags & UNSEEN):
            yield f"the annotation {plain(one.Subtype)} is not printed or hidden (F {flags})"


@clause("6.3.3")
def annotation_looks(pdf: bytes, opened: Pdf) -> Iterator[str]:
    for one in annotations(opened):
        left, bottom, right, top = (float(side) for side in one.Rect)
        bare = (left == right and bottom == top) or one.Subtype in (Name.Popup, Name.Link)
        if not bare and "/AP" not in one:
            yield f"the annotation {plain(one.Subtype)} has no appearance"
        if set(one.get("/AP", Dictionary()).keys()) - {"/N"}:
            yield f"the annotation {plain(one.Subtype)} changes its appearance"


@clause("6.4")
def form_fields(pdf: bytes, opened: Pdf) -> Iterator[str]:
    form = opened.Root.get("/AcroForm", Dictionary())
    if form.get("/NeedAppearances", False) or "/XFA" in form:
        yield "the form is filled as it is shown"
    for one in annotations(opened):
        if one.Subtype == Name.Widget and {"/A", "/AA"} & set(one.keys()):
            yield "a form field acts"


@clause("6.4.3")
def signatures(pdf: bytes, opened: Pdf) -> Iterator[str]:
    for one in of_type(opened, "Sig"):
        start, length, second, rest = (int(n) for n in one.ByteRange)
        if start != 0 or second + rest != len(pdf) or pdf[length : length + 1] != b"<":
            yield "a signature does not cover the whole file"


# ---- 6.5 Actions
@clause("6.5.1")
def actions(pdf: bytes, opened: Pdf) -> Iterator[str]:
    for one in dictionaries(opened):
        said = one.get("/S")
        if isinstance(said, Name) and plain(said) in FORBIDDEN_ACTIONS:
            yield f"there is an action {plain(said)}"


@clause("6.5.2")
def triggers(pdf: bytes, opened: Pdf) -> Iterator[str]:
    if "/AA" in opened.Root or any("/AA" in page for page in opened.pages):
        yield "something happens as the file or a page is opened"


# ---- 6.6 Metadata
@clause("6.6.2")
def metadata(pdf: bytes, opened: Pdf) -> Iterator[str]:
    xmp = _xmp(opened)
    if xmp is None:
        yield "there is no metadata that can be read as XML"
        return
    packet = opened.Root.Metadata.read_bytes().split(b"?>")[0]
    if b" bytes=" in packet or b" encoding=" in packet:
        yield "the packet header has bytes or encoding"
    described = {one.text for one in xmp.iter(f"{{{PDFA_SCHEMA}}}namespaceURI")}
    used = {etree.QName(one).namespace for one in xmp.iter() if isinstance(one.tag, str)}
    for strange in used - XMP_OF_THE_STANDARD - described - {RDF, "adobe:ns:meta/"}:
        yield f"the metadata use {strange} and do not describe it"


@clause("6.6.4")
def identification(pdf: bytes, opened: Pdf) -> Iterator[str]:
    xmp = _xmp(opened)
    said = {} if xmp is None else {etree.QName(e).localname: e.text for e in _identified(xmp)}
    if said.get("part") != "2" or said.get("conformance") != "A":
        yield f"it calls itself PDF/A {said or 'nothing'}"


@clause("6.6.3, as ISO 19005-1 6.7.3 asks")
def info_agrees(pdf: bytes, opened: Pdf) -> Iterator[str]:
    with opened.open_metadata() as xmp:
        pairs = {"/Title": "dc:title", "/Keywords": "pdf:Keywords", "/Creator": "xmp:CreatorTool"}
        for key, name in pairs.items():
            if key in opened.docinfo and str(opened.docinfo[key]) != xmp.get(name):
                yield f"{key} says other than {name}"


def _xmp(opened: Pdf) -> Any:
    if "/Metadata" not in opened.Root:
        return None
    try:
        return etree.fromstring(opened.Root.Metadata.read_bytes())
    except etree.XMLSyntaxError:
        return None


def _identified(xmp: Any) -> Iterator[Any]:
    return (e for e in xmp.iter() if isinstance(e.tag, str) and etree.QName(e).namespace == PDFA_ID)


# ---- 6.7 Logical structure (level A)
@clause("6.7.2")
def marked(pdf: bytes, opened: Pdf) -> Iterator[str]:
    if not opened.Root.get("/MarkInfo", Dictionary()).get("/Marked", False):
        yield "it does not say that it is tagged"


@clause("6.7.3")
def structure(pdf: bytes, opened: Pdf) -> Iterator[str]:
    tree = opened.Root.get("/StructTreeRoot")
    if tree is None or "/K" not in tree:
        yield "there is no structure tree"
        return
    roles = {plain(key): plain(value) for key, value in tree.get("/RoleMap", {}).items()}
    for one in of_type(opened, "StructElem"):
        kind = plain(one.S)
        if roles.get(kind, kind) not in STANDARD_TYPES:
            yield f"the structure type {kind} leads to none of the standard's"
    for number, page in enumerate(opened.pages, start=1):
        if "/StructParents" not in page:
            yield f"page {number} belongs to no structure"


@clause("6.7.4")
def language(pdf: bytes, opened: Pdf) -> Iterator[str]:
    if not re.fullmatch(r"[A-Za-z]{2,3}(-[A-Za-z0-9]{2,8})*", str(opened.Root.get("/Lang", ""))):
        yield "the language is not said"


# ---- 6.8 to 6.11
@clause("6.8 to 6.11")
def nothing_else(pdf: bytes, opened: Pdf) -> Iterator[str]:
    names = opened.Root.get("/Names", Dictionary())
    for holder, key in (
        (names, "/EmbeddedFiles"),
        (names, "/JavaScript"),
        (names, "/AlternatePresentations"),
        (opened.Root, "/Requirements"),
        (opened.Root, "/OCProperties"),
    ):
        if key in holder:
            yield f"the file has {plain(key)}"
    if any("/PresSteps" in page for page in opened.pages):
        yield "a page has steps of a presentation"
