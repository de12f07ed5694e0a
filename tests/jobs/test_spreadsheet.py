"""Reading CSV and XLSX: encodings, delimiters, headings, damage."""

from __future__ import annotations

import io
import re
import zipfile
from dataclasses import replace
from datetime import date

import pytest
from openpyxl import Workbook

from jobs.errors import Refused
from jobs.intake import spreadsheet
from jobs.intake.spreadsheet import HOMES, read_sheet

HEAD = "reference,address_line_1,town,postcode,nation"
ROW = "H-1,1 Example Row,Sampleton,LE1 1AA,England"


def rows_of(content: bytes, name: str = "homes.csv") -> list[tuple[int, dict[str, str]]]:
    return list(read_sheet(io.BytesIO(content), name).rows)


def xlsx(*rows: list[object]) -> bytes:
    book = Workbook()
    for row in rows:
        book.active.append(row)
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


@pytest.mark.parametrize(
    ("encoding", "delimiter"),
    [
        ("utf-8", ","),
        ("utf-8-sig", ";"),
        ("cp1252", "\t"),
        ("cp1252", ";"),
        ("utf-8-sig", "\t"),
    ],
)
def test_encodings_and_delimiters_are_recognised(encoding, delimiter):
    town = "Llanfairpwllgŵyn" if "utf" in encoding else "Ynysoedd é"
    text = f"{HEAD}\n{ROW.replace('Sampleton', town)}\n"

    [(number, cells)] = rows_of(text.replace(",", delimiter).encode(encoding))

    assert number == 2
    assert cells["town"] == town
    assert cells["nation"] == "England"


def test_a_comma_within_quotes_is_no_delimiter():
    head = 'reference;"address_line_1";town;postcode;nation'
    row = 'H-1;"Flat 2, 1 Example Row";Sampleton;LE1 1AA;England'

    [(_, cells)] = rows_of(f"{head}\n{row}\n".encode())

    assert cells["address_line_1"] == "Flat 2, 1 Example Row"


def test_an_xlsx_with_numbers_dates_and_empty_rows_is_read():
    content = xlsx(
        ["Reference", "Address line 1", "Town", "Postcode", "Nation", "Latitude", "Due on"],
        [17, "1 Example Row", "Sampleton", "LE1 1AA", "England", 52.5, date(2027, 3, 31)],
        [None, None],
        [18.0, "2 Example Row", "Sampleton", "LE1 1AA", "England", None, None],
    )

    first, second = rows_of(content, "homes.xlsx")

    assert first[1]["reference"] == "17"
    assert first[1]["latitude_deg"] == "52.5"
    assert first[1]["due_on"] == "2027-03-31"
    assert (second[0], second[1]["reference"]) == (4, "18")


@pytest.mark.parametrize("heading", ["Post code", "POSTCODE", "post_code", " postcode "])
def test_capitals_and_spaces_of_a_heading_make_no_difference(heading):
    [(_, cells)] = rows_of(f"{HEAD.replace('postcode', heading)}\n{ROW}\n".encode())

    assert cells["postcode"] == "LE1 1AA"


def test_columns_that_are_not_ours_are_named_and_passed_over():
    sheet = read_sheet(io.BytesIO(f"{HEAD},Colour\n{ROW},red\n".encode()), "homes.csv")

    [(_, cells)] = list(sheet.rows)

    assert sheet.unread_columns == ("Colour",)
    assert "red" not in cells.values()


@pytest.mark.parametrize(
    ("content", "name", "field", "said"),
    [
        (b"", "homes.csv", "file", "no first row"),
        (b"\n\n", "homes.csv", "file", "no first row"),
        (HEAD.replace("postcode", "postkode").encode(), "h.csv", "postcode", "“postkode” meant"),
        (b"name,place\n", "h.csv", "reference", "no column reference"),
        (f"{HEAD},Town\n{ROW},x".encode(), "h.csv", "town", "more than once"),
        (b"PK\x03\x04 not really", "h.xlsx", "file", "cannot be opened"),
        (b"\xd0\xcf\x11\xe0 old", "h.xls", "file", "Save it as XLSX or CSV"),
        (b"anything", "h.ods", "file", "Save it as XLSX or CSV"),
        (b"reference\x81,\x8d\n", "h.csv", "file", "neither UTF-8 nor Windows-1252"),
    ],
)
def test_a_file_that_cannot_be_read_says_why_and_what_to_do(content, name, field, said):
    with pytest.raises(Refused, match=said) as refusal:
        rows_of(content, name)

    assert refusal.value.field == field
    assert refusal.value.remedy


def test_a_quotation_mark_that_is_never_closed_is_told_with_its_line():
    content = f'{HEAD}\nH-1,"{"x" * 200_000}'.encode()

    with pytest.raises(Refused, match="Line 2 cannot be read"):
        rows_of(content)


def test_a_file_that_unpacks_to_too_much_is_refused():
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("xl/worksheets/sheet1.xml", "x" * 5000)

    with pytest.raises(Refused, match="too large"):
        read_sheet(file, "homes.xlsx", replace(HOMES, most_unpacked_bytes=1000))


def rewritten(book: bytes, old: str, new: str) -> bytes:
    """A workbook whose first sheet says `new` for `old`, and nothing of how large it is."""
    file = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(book)) as source, zipfile.ZipFile(file, "w") as target:
        for name in source.namelist():
            content = source.read(name).decode()
            if name.endswith("sheet1.xml"):
                assert old in content
                content = re.sub("<dimension[^>]*>", "", content).replace(old, new)
            target.writestr(name, content)
    return file.getvalue()


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        ("</sheetData>", "", "broken XML"),
        ('<row r="2"', '<row r="x"', "a row without a number"),
        ('r="A2"', 'r="!!"', "a cell without a place"),
        ("</sheetData>", '<row r="3"><c r="A3" t="d"><v>x</v></c></row></sheetData>', "no date"),
    ],
)
def test_an_xlsx_damaged_further_down_says_so(old, new, reason):
    book = xlsx(HEAD.split(","), ROW.split(","))

    with pytest.raises(Refused, match="cannot be opened") as refusal:
        rows_of(rewritten(book, old, new), "homes.xlsx")

    assert refusal.value.field == "file", reason


def test_an_xlsx_is_read_no_further_down_and_no_wider_than_a_sheet_can_be(monkeypatch):
    monkeypatch.setattr(spreadsheet, "MOST_SHEET_ROWS", 100)
    far = '<row r="99999999999"><c r="XFD99999999999"><v>1</v></c></row></sheetData>'
    book = rewritten(xlsx(HEAD.split(","), ROW.split(",")), "</sheetData>", far)

    assert [number for number, _ in rows_of(book, "homes.xlsx")] == [2]


def test_a_first_row_of_very_many_columns_is_refused_before_it_is_looked_through():
    content = f"{HEAD}{',town' * 200_000}\n{ROW}".encode()

    with pytest.raises(Refused, match="more than 200 columns"):
        rows_of(content)


def test_a_file_larger_than_is_taken_is_not_read(monkeypatch):
    monkeypatch.setattr(spreadsheet, "MOST_BYTES", 60)

    with pytest.raises(Refused, match="more than 0 MB"):
        rows_of(f"{HEAD}\n{ROW}".encode())


def test_more_homes_than_are_read_at_once_are_refused():
    few = replace(HOMES, most=2)
    sheet = read_sheet(io.BytesIO("\n".join([HEAD, ROW, ROW, ROW]).encode()), "homes.csv", few)

    with pytest.raises(Refused, match="more than 2 homes"):
        list(sheet.rows)
