"""PDF documents for tests: a plain one, and ones that carry what a document has no need of."""

from __future__ import annotations

import io
from collections.abc import Callable
from functools import lru_cache

from PIL import Image
from pypdf import PdfReader, PdfWriter
from pypdf.generic import DictionaryObject, NameObject, TextStringObject


@lru_cache
def plain_pdf(pages: int = 1) -> bytes:
    """So many empty pages."""
    file = io.BytesIO()
    sheets = [Image.new("1", (40, 60), 1) for _ in range(pages)]
    sheets[0].save(file, "PDF", save_all=True, append_images=sheets[1:])
    return file.getvalue()


def changed_pdf(change: Callable[[PdfWriter], object]) -> bytes:
    """A plain page after `change` of its writer."""
    writer, file = PdfWriter(clone_from=PdfReader(io.BytesIO(plain_pdf()))), io.BytesIO()
    change(writer)
    writer.write(file)
    return file.getvalue()


def opens_with(kind: str) -> Callable[[PdfWriter], object]:
    """An action of that kind when the document is opened, ISO 32000-2, 12.6.4."""

    def change(writer: PdfWriter) -> None:
        action = {"/S": NameObject(kind), "/JS": TextStringObject("app.alert(1)")}
        if kind != "/JavaScript":
            action = {"/S": NameObject(kind), "/F": TextStringObject("other.exe")}
        named = {NameObject(key): value for key, value in action.items()}
        writer.root_object[NameObject("/OpenAction")] = writer._add_object(DictionaryObject(named))

    return change
