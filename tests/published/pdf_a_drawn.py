"""Clause 6.2 of ISO 19005-2:2011, graphics and fonts; see `pdf_a_clauses`."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import pikepdf
from fontTools.ttLib import TTFont
from pikepdf import Array, Dictionary, Name, Pdf

from tests.published.pdf_a_reading import (
    clause,
    dictionaries,
    fonts,
    instructions,
    plain,
    streams,
    words,
)

BLEND_MODES = words(
    """
    Normal Compatible Multiply Screen Overlay Darken Lighten ColorDodge ColorBurn HardLight
    SoftLight Difference Exclusion Hue Saturation Color Luminosity
    """
)


@clause("6.2.3")
def output_intent(pdf: bytes, opened: Pdf) -> Iterator[str]:
    ours = [one for one in opened.Root.get("/OutputIntents", []) if one.get("/S") == "/GTS_PDFA1"]
    if len(ours) != 1 or "/DestOutputProfile" not in ours[0]:
        yield "there is no one output intent GTS_PDFA1 with its profile"
        return
    icc = ours[0].DestOutputProfile.read_bytes()
    if icc[36:40] != b"acsp" or icc[12:16] not in (b"mntr", b"prtr"):
        yield "the output profile is no ICC profile of a monitor or printer"
    if icc[16:20] not in (b"RGB ", b"CMYK", b"GRAY"):
        yield "the output profile is of another colour space"


@clause("6.2.4.2")
def icc_profiles(pdf: bytes, opened: Pdf) -> Iterator[str]:
    channels = {b"RGB ": 3, b"CMYK": 4, b"GRAY": 1, b"Lab ": 3}
    for one in streams(opened):
        if "/N" not in one.stream_dict or one.get("/Type") in (Name.ObjStm, Name.XObject):
            continue
        icc = one.read_bytes()
        if icc[36:40] != b"acsp" or icc[8] > 4:
            yield "an ICC profile is none, or newer than version 4"
        elif channels.get(icc[16:20]) != one.stream_dict["/N"]:
            yield "an ICC profile has another number of channels than N says"


@clause("6.2.4.3")
def device_colours(pdf: bytes, opened: Pdf) -> Iterator[str]:
    intents = opened.Root.get("/OutputIntents", [])
    spaces = {one.DestOutputProfile.read_bytes()[16:20] for one in intents}
    wanted = {"rg": b"RGB ", "RG": b"RGB ", "k": b"CMYK", "K": b"CMYK", "g": b"", "G": b""}
    used = {operator for operator, _ in instructions(opened)} & wanted.keys()
    named = {"/DeviceRGB": b"RGB ", "/DeviceCMYK": b"CMYK"}
    asked = {wanted[operator] for operator in used} - {b""}
    asked |= {
        named[str(one["/ColorSpace"])]
        for one in streams(opened)
        if isinstance(one.get("/ColorSpace"), Name) and str(one["/ColorSpace"]) in named
    }
    for space in asked - spaces:
        yield f"device colours {space.decode().strip()} without such an output intent"
    if used and not spaces:
        yield "device grey without an output intent"


@clause("6.2.5")
def graphics_states(pdf: bytes, opened: Pdf) -> Iterator[str]:
    for one in _graphics_states(opened):
        if "/TR" in one or "/HTP" in one or one.get("/TR2", Name.Default) != Name.Default:
            yield "a graphics state has a transfer function or halftone phase"


@clause("6.2.8")
def images(pdf: bytes, opened: Pdf) -> Iterator[str]:
    for one in streams(opened):
        if one.get("/Subtype") == Name.Image:
            if "/Alternates" in one or "/OPI" in one or one.get("/Interpolate", False):
                yield "an image has alternates, OPI, or asks for interpolation"
            if one.get("/BitsPerComponent", 8) not in (1, 2, 4, 8, 16):
                yield "an image has an odd number of bits"


@clause("6.2.9")
def forms(pdf: bytes, opened: Pdf) -> Iterator[str]:
    for one in streams(opened):
        if one.get("/Subtype") == Name.PS or {"/PS", "/Ref", "/OPI"} & set(one.keys()):
            yield "there is PostScript, a reference to another file, or OPI"


@clause("6.2.10")
def transparency(pdf: bytes, opened: Pdf) -> Iterator[str]:
    seen = False
    for one in _graphics_states(opened):
        mode = one.get("/BM", Name.Normal)
        modes = list(mode) if isinstance(mode, Array) else [mode]
        if not {plain(m) for m in modes} <= BLEND_MODES:
            yield "a blend mode is none of the standard's"
        alphas = [Decimal(str(one.get(key, 1))) for key in ("/ca", "/CA")]
        seen |= min(alphas) < 1 or one.get("/SMask", Name.None_) != Name.None_
    if seen and "/OutputIntents" not in opened.Root:
        yield "transparency without a blending space"


def _graphics_states(opened: Pdf) -> Iterator[Any]:
    for one in dictionaries(opened):
        found = one.get("/ExtGState")
        yield from found.values() if isinstance(found, Dictionary) else ()


# ---- 6.2.11 Fonts
@clause("6.2.11.3")
def composite_fonts(pdf: bytes, opened: Pdf) -> Iterator[str]:
    for font in fonts(opened):
        cmap = font.get("/Encoding") if font.get("/Subtype") == Name.Type0 else None
        if isinstance(cmap, Name) and plain(cmap) not in ("Identity-H", "Identity-V"):
            yield f"the CMap {plain(cmap)} is not in the file"
        if font.get("/Subtype") == Name.CIDFontType2 and "/CIDToGIDMap" not in font:
            yield f"{plain(font.BaseFont)} does not tell which glyph is which"


@clause("6.2.11.4")
def embedded_fonts(pdf: bytes, opened: Pdf) -> Iterator[str]:
    for font in _simple_or_descendant(opened):
        program = _program(font)
        if program is None:
            yield f"the program of {plain(font.get('/BaseFont', '?'))} is not in the file"


@clause("6.2.11.5")
def widths(pdf: bytes, opened: Pdf) -> Iterator[str]:
    """Of TrueType glyphs, against the program's own: within a thousandth of the em."""
    for font in _simple_or_descendant(opened):
        program = _program(font)
        if font.get("/Subtype") != Name.CIDFontType2 or program is None:
            continue
        truetype = TTFont(io.BytesIO(program))
        em, metrics = truetype["head"].unitsPerEm, truetype["hmtx"].metrics
        for cid, width in _widths_of(font):
            name = truetype.getGlyphName(cid)
            if name not in metrics or abs(metrics[name][0] * 1000 / em - width) > 1:
                yield f"glyph {cid} of {plain(font.BaseFont)} has another width in its program"


@clause("6.2.11.7.2")
def unicode_of_glyphs(pdf: bytes, opened: Pdf) -> Iterator[str]:
    """What level A asks: each font leads to Unicode, and to no zero, FEFF or FFFE."""
    for font in fonts(opened):
        if font.get("/Subtype") == Name.Type0:
            if "/ToUnicode" not in font:
                yield f"{plain(font.BaseFont)} does not lead to Unicode"
            elif re.search(rb"<(0000|FEFF|FFFE)>\s*$", font.ToUnicode.read_bytes(), re.M | re.I):
                yield f"{plain(font.BaseFont)} leads to what is no character"


@clause("6.2.11.8")
def no_notdef(pdf: bytes, opened: Pdf) -> Iterator[str]:
    for operator, operands in instructions(opened):
        shown = operands[0] if operator == "TJ" else operands[-1:] if operator in "Tj'\"" else []
        for one in shown if operator in ("TJ", "Tj", "'", '"') else ():
            if isinstance(one, pikepdf.String):
                codes = bytes(one)
                if any(codes[i : i + 2] == b"\0\0" for i in range(0, len(codes), 2)):
                    yield "the glyph .notdef is shown"


def _simple_or_descendant(opened: Pdf) -> Iterator[Any]:
    return (font for font in fonts(opened) if font.get("/Subtype") != Name.Type0)


def _program(font: Any) -> bytes | None:
    descriptor = font.get("/FontDescriptor", Dictionary())
    for key in ("/FontFile", "/FontFile2", "/FontFile3"):
        if key in descriptor:
            return bytes(descriptor[key].read_bytes())
    return None


def _widths_of(font: Any) -> Iterator[tuple[int, float]]:
    """Pairs of the W array: `first [w w …]` and `first last w`."""
    told = list(font.get("/W", []))
    while told:
        first = int(told.pop(0))
        after = told.pop(0)
        if isinstance(after, Array):
            yield from ((first + n, float(width)) for n, width in enumerate(after))
        else:
            width = float(told.pop(0))
            yield from ((cid, width) for cid in range(first, int(after) + 1))
