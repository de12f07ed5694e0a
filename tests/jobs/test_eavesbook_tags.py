"""The tags that draw marks, quantities, fields and lists: what a reader of a page would notice."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest
from django import forms
from django.core.paginator import Paginator
from django.template import engines
from django.test import RequestFactory

from compliance.models.assessments import Assessment
from jobs.models.jobs import Stage
from jobs.templatetags.depth_picture import WIDTH, picture_depth
from jobs.templatetags.eavesbook import STAGE_ROAD, VERDICT_WORDS, signed_units, whole_postcode


def drawn(source: str, path: str = "/", **context: object) -> str:
    """A template source with the tags loaded, rendered as a page at `path` would render it."""
    template = engines["django"].from_string("{% load eavesbook %}" + source)
    return template.render(context, request=RequestFactory().get(path))


class DepthForm(forms.Form):
    depth_mm = forms.IntegerField(help_text="At the middle of the bay.")
    condition = forms.ChoiceField(choices=[("dry", "Dry")], widget=forms.RadioSelect)
    boarded = forms.BooleanField(required=False, help_text="Any part of it.")


def test_each_stage_has_its_word_and_a_shape_of_its_own() -> None:
    marks = {stage: drawn("{% stage_mark stage %}", stage=stage.value) for stage in Stage}
    shapes = {stage: re.search(r"<svg.*?</svg>", mark).group() for stage, mark in marks.items()}
    assert len(set(shapes.values())) == len(Stage)
    for stage, mark in marks.items():
        assert f'<span class="mark-word">{stage.label}</span>' in mark


def test_each_verdict_has_its_word_and_a_shape_of_its_own() -> None:
    assert set(VERDICT_WORDS) == {verdict.value for verdict in Assessment.Verdict}
    marks = [drawn("{% verdict_mark v %}", v=verdict) for verdict in [*VERDICT_WORDS, None]]
    assert len({re.search(r"<svg.*?</svg>", mark).group() for mark in marks}) == len(marks)
    assert "Not assessed" in marks[-1]


def test_the_road_marks_where_the_job_stands() -> None:
    road = drawn("{% stage_road 'booked' %}")
    assert re.findall(r'class="road-(\w+)"', road) == [
        *["passed"] * 3,
        "here",
        *["ahead"] * (len(STAGE_ROAD) - 4),
    ]
    assert road.count('aria-current="step"') == 1


def test_a_short_job_stands_before_certified_and_a_called_off_one_stands_alone() -> None:
    short = re.findall(r"mark mark-(\w+)", drawn("{% stage_road 'short' %}"))
    assert short[-2:] == ["short", "certified"]
    assert re.findall(r"mark mark-(\w+)", drawn("{% stage_road 'called_off' %}")) == ["called_off"]


@pytest.mark.parametrize(
    ("source", "shown"),
    [
        ("{% quantity 270 'mm' %}", "270\u202fmm"),
        ("{% quantity 12845 %}", "12,845"),
        ("{% quantity 2 'piece' %}", "2"),
        ("{% quantity 1 'roll' %}", "1\u202froll"),
        ("{% quantity 12 'tube' %}", "12\u202ftubes"),
        ("{% quantity u 'W/m2K' 2 %}", "0.16\u202fW/m²K"),
        ("{% quantity area 'm2' %}", "46.25\u202fm²"),
        ("{% quantity frost 'degC' 1 %}", "\u22123.5\u202f°C"),
        ("{% quantity 35 'percent' %}", "35%"),
        ("{% quantity nothing 'mm' %}", "not measured"),
        ("{% quantity nothing 'mm' missing='none yet' %}", "none yet"),
        ("{% quantity 0 'mm' %}", "0\u202fmm"),
    ],
)
def test_a_quantity_is_set_with_its_unit(source: str, shown: str) -> None:
    html = drawn(source, u=0.1595, area=Decimal("46.25"), frost=-3.5, nothing=None)
    assert re.sub(r"<[^>]+>", "", html) == shown


def test_a_field_names_its_unit_once_and_ties_help_and_error_to_the_input() -> None:
    form = DepthForm({"depth_mm": "deep", "condition": "dry"})
    html = drawn("{% field form.depth_mm %}", form=form)
    assert "Depth</label>" in html
    assert ">mm</span>" in html
    described = re.search(r'aria-describedby="([^"]+)"', html).group(1).split()
    assert described == ["id_depth_mm_helptext", "id_depth_mm_error"]
    assert all(f'id="{name}"' in html for name in described)
    assert "Enter a whole number." in html


def test_radio_buttons_come_as_a_group_with_a_legend_and_a_tick_beside_its_label() -> None:
    html = drawn("{% fields form %}", form=DepthForm())
    assert re.search(r"<fieldset[^>]*>\s*<legend>Condition</legend>", html)
    assert re.search(r'<label class="tick-label"><input type="checkbox"[^>]*> <span>Boarded', html)


def test_the_error_summary_leads_to_each_faulty_field() -> None:
    form = DepthForm({"depth_mm": "", "condition": "wet"})
    html = drawn("{% fields form %}", form=form)
    targets = re.findall(r'<a href="#([^"]+)">', html)
    assert targets == ["id_depth_mm_field", "id_condition_field"]
    assert all(f'id="{target}"' in html for target in targets)


def test_text_from_people_is_escaped() -> None:
    html = drawn("{% stage_mark s %}{% quantity q %}", s="<b>", q="<script>")
    assert "<b>" not in html
    assert "<script>" not in html


def test_sorting_turns_round_on_the_second_press_and_starts_at_the_first_page() -> None:
    first = drawn("{% sort_heading 'Area' 'area' %}", "/jobs/?stage=short&page=4")
    assert 'href="?stage=short&amp;order=area"' in first
    assert "aria-sort" not in first
    second = drawn("{% sort_heading 'Area' 'area' %}", "/jobs/?order=area")
    assert 'href="?order=-area"' in second
    assert 'aria-sort="ascending"' in second


def test_the_pager_keeps_the_filter_and_says_where_we_are() -> None:
    page = Paginator(range(412), 25).page(3)
    html = drawn("{% pager page 'jobs' %}", "/jobs/?stage=short&page=3", page=page)
    assert re.sub(r"<[^>]+>", "", html).split("jobs")[0].strip() == "51–75 of 412"
    assert 'href="?stage=short&amp;page=2" rel="prev"' in html
    assert 'href="?stage=short&amp;page=4" rel="next"' in html
    assert 'href="?stage=short&amp;page=3" aria-current="page"' in html


def test_a_single_page_has_no_pager_links() -> None:
    html = drawn("{% pager page 'jobs' %}", page=Paginator(range(9), 25).page(1))
    assert "<li>" not in html
    assert "of <" in html


def test_the_ruler_shows_the_gap_between_lowest_reading_and_target() -> None:
    picture = picture_depth(350, 50, (100, 170), 318)
    scale = WIDTH / 400
    assert [band.thickness_mm for band in picture.bands] == [50, 100, 170]
    assert picture.bands[2].x == pytest.approx(picture.bands[0].x + 150 * scale, abs=0.1)
    assert picture.gap is not None
    assert picture.gap.thickness_mm == 32
    assert picture.gap.x + picture.gap.width == pytest.approx(picture.target_x, abs=0.1)
    assert picture.ticks[-1].depth_mm == 400


def test_no_figure_stands_half_beneath_what_is_missing() -> None:
    picture = picture_depth(270, 150, (150,), 174)
    assert [(band.thickness_mm, band.kind) for band in picture.figured()] == [(150, "existing")]
    assert len(picture_depth(270, 150, (150,), 275).figured()) == 2


def test_the_ruler_has_no_gap_when_the_depth_is_reached_and_says_so_in_words() -> None:
    assert picture_depth(270, 0, (100, 170), 272).gap is None
    html = drawn("{% depth_scale 270 0 layers 272 %}", layers=[100, 170])
    assert "Depth required 270 mm; layers add up to 270 mm; lowest reading 272 mm." in html
    assert "short" not in html


def test_a_choice_shows_no_unit_behind_it() -> None:
    class DirectionForm(forms.Form):
        joist_direction_deg = forms.ChoiceField(choices=[("0", "Across"), ("90", "Up and down")])

    html = drawn("{% field form.joist_direction_deg %}", form=DirectionForm())
    assert "Joist direction</label>" in html
    assert "°" not in html


def test_plain_units_in_a_sentence_are_set_as_signs() -> None:
    sentence = "At the plate (4.2 m2) 0.159 W/m2K; 12 mm2 of Wool m20 stay."
    assert signed_units(sentence) == "At the plate (4.2 m²) 0.159 W/m²K; 12 mm² of Wool m20 stay."


def test_a_postcode_at_the_end_of_an_address_is_not_broken() -> None:
    assert whole_postcode("1 Weir View, Wirkton, DE2 2FS") == "1 Weir View, Wirkton, DE2\u00a02FS"
    assert whole_postcode("DE22FS") == "DE22FS"
