"""Pages of long lists: the same rows, in the same order, on every page, and the same queries."""

from __future__ import annotations

import pytest
from django.core.paginator import Paginator

from jobs.models import Job, Property
from jobs.pages.job_filters import ORDERS, with_next_visit
from jobs.pages.paging import LatePages
from tests.factories import CompanyFactory, SchemeFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def jobs():
    company, scheme = CompanyFactory(), SchemeFactory()
    homes = Property.objects.bulk_create(
        Property(
            company=company,
            reference=f"H{n}",
            address_line_1=f"{n % 4} Example Row",
            town="Sampleton",
            postcode="LE1 1AA",
            nation="england",
        )
        for n in range(23)
    )
    Job.objects.bulk_create(Job(company=company, property=home, scheme=scheme) for home in homes)
    return with_next_visit(Job.objects.filter(company=company).with_place())


@pytest.mark.parametrize("fields", ORDERS.values(), ids=ORDERS)
def test_every_page_holds_what_pages_of_whole_rows_hold(jobs, fields):
    rows = jobs.order_by(*fields)
    late, whole = LatePages(rows, 5), Paginator(rows, 5)
    for number in whole.page_range:
        assert list(late.page(number)) == list(whole.page(number))
        assert [j.next_visit_at for j in late.page(number)] == [None] * len(whole.page(number))
    assert late.num_pages == whole.num_pages == 5


def test_the_last_page_asks_no_more_than_the_first(jobs, django_assert_num_queries):
    for number in (1, 5, 99, "nonsense"):
        with django_assert_num_queries(3):
            page = LatePages(jobs.order_by("pk"), 5).get_page(number)
            assert [str(job.property) for job in page]
    assert page.number == 1


def test_a_list_without_rows_has_one_empty_page(jobs):
    page = LatePages(jobs.filter(stage="short").order_by("pk"), 5).get_page("7")
    assert (list(page), page.paginator.count, page.has_other_pages()) == ([], 0, False)
