"""Load list and round sheet as files, looked at by software that is not ours."""

from __future__ import annotations

import re
from datetime import datetime
from io import BytesIO
from zoneinfo import ZoneInfo

import pypdf
import pytest
from django.utils import timezone

from jobs.loading.load_list import load_list_of_day
from jobs.loading.load_list_paper import load_list_pdf
from jobs.models import Hazard
from jobs.rounds.round_paper import round_sheet_pdf
from jobs.rounds.round_sheet import round_sheet_for
from jobs.surveying.quantities import make_layer_plan
from tests.factories import LoftAreaFactory, SurveyFactory
from tests.jobs.loading.yard import a_yard, accessory_line, next_monday
from tests.published.pdf_a_clauses import violations

pytestmark = pytest.mark.django_db
MONDAY = next_monday()
MADE_AT = datetime(2026, 11, 25, 6, 30, tzinfo=ZoneInfo("Europe/London"))


@pytest.fixture
def yard():
    yard = a_yard(van_m3=2.0)
    job = yard.office.job("to_plan")
    survey = SurveyFactory(job=job, completed_at=timezone.now())
    LoftAreaFactory(survey=survey)
    Hazard.objects.create(survey=survey, kind="wet_timber", note="by the chimney")
    make_layer_plan(job, seconds=0)
    yard.visit(job, MONDAY, 8)
    lines = [accessory_line("hatch_insulation", 0.43, "m2"), accessory_line("gloves", 2)]
    yard.visit(yard.planned_job({"W170": 4}, lines), MONDAY, 13)
    return yard


@pytest.fixture(params=["load list", "round sheet"])
def paper(request, yard) -> bytes:
    if request.param == "load list":
        return load_list_pdf(load_list_of_day(yard.crew, MONDAY), made_at=MADE_AT)
    return round_sheet_pdf(round_sheet_for(yard.planner, yard.crew, MONDAY), made_at=MADE_AT)


def test_it_declares_pdf_a_2a_and_pdf_ua_1_and_is_tagged(paper: bytes):
    """ISO 19005-2 clause 6.6.4 and ISO 14289-1 clause 5: the identification in the metadata.

    Read with `pypdf`: the file's own declaration, and then the clauses of ISO 19005-2 that
    `pdf_a_clauses` knows.
    """
    assert violations(paper) == []
    root = pypdf.PdfReader(BytesIO(paper)).trailer["/Root"]
    metadata = root["/Metadata"].get_object().get_data().decode()

    assert re.search(r"pdfaid:part[>=\"]+2", metadata)
    assert re.search(r"pdfuaid:part[>=\"]+1", metadata)
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en-GB"
    assert root["/StructTreeRoot"]


def test_every_font_is_embedded(paper: bytes):
    """ISO 19005-2 clause 6.2.11.4: font programs are embedded."""
    names = set()
    for page in pypdf.PdfReader(BytesIO(paper)).pages:
        for font in page["/Resources"].get("/Font", {}).values():
            for descendant in font.get_object().get("/DescendantFonts", [font]):
                descriptor = descendant.get_object()["/FontDescriptor"]
                assert descriptor.keys() & {"/FontFile2", "/FontFile3"}
                names.add(descriptor["/FontName"].split("+")[-1])
    assert names and all("SourceS" in name for name in names)


def structure(paper: bytes) -> list[dict]:
    """Every element of the structure tree."""
    found: list[dict] = []

    def walk(node) -> None:
        node = node.get_object() if hasattr(node, "get_object") else node
        if isinstance(node, list):
            for child in node:
                walk(child)
        elif isinstance(node, dict):
            if "/S" in node:
                found.append(node)
            walk(node.get("/K", []))

    walk(pypdf.PdfReader(BytesIO(paper)).trailer["/Root"]["/StructTreeRoot"])
    return found


def test_pictures_have_words_tables_have_headings_and_headings_skip_no_level(paper: bytes):
    """ISO 14289-1: figures have alternative text (7.3), tables their header cells (7.5), and
    headings go down one level at a time (7.4.2)."""
    kinds = [node["/S"] for node in structure(paper)]
    assert all(node.get("/Alt") for node in structure(paper) if node["/S"] == "/Figure")
    assert kinds.count("/TH") >= 4 * kinds.count("/Table") > 0
    levels = [int(kind[2:]) for kind in kinds if re.fullmatch(r"/H[1-6]", kind)]
    assert levels[0] == 1
    assert all(after <= before + 1 for before, after in zip(levels, levels[1:], strict=False))


def words(paper: bytes) -> str:
    text = " ".join(page.extract_text() for page in pypdf.PdfReader(BytesIO(paper)).pages)
    return re.sub(r"\s+", " ", text)


def test_the_load_list_says_loads_lines_visits_and_cautions(yard):
    text = words(load_list_pdf(load_list_of_day(yard.crew, MONDAY), made_at=MADE_AT))
    for expected in (
        f"Load list for {yard.crew.name}",
        "Load 1 of 2",
        "Protective equipment",
        "By visit",
        "0.43 m²",
        "Wool 170 (invented)",
        "Cause of damp found and put right",
        "Manual Handling Operations Regulations 1992",
        "06:30",
    ):
        assert expected in text, expected


def test_the_round_sheet_says_times_places_and_what_to_mind(yard):
    text = words(round_sheet_pdf(round_sheet_for(yard.planner, yard.crew, MONDAY), made_at=MADE_AT))
    homes = [visit.job.property for visit in yard.crew.visits.order_by("during")]
    for expected in (
        f"Round of {yard.crew.name}",
        "08:00",
        homes[0].address_line_1,
        homes[1].postcode,
        "Wet timber: by the chimney",
        "Photo points",
        "Boards over at least three joists",
    ):
        assert expected in text, expected


def test_the_same_contents_and_time_give_the_same_bytes(yard):
    found = load_list_of_day(yard.crew, MONDAY)
    assert load_list_pdf(found, made_at=MADE_AT) == load_list_pdf(found, made_at=MADE_AT)
