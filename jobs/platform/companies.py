"""Companies on the platform: founding one, changing its name."""

from __future__ import annotations

from django.utils.text import slugify

from jobs.errors import Refused, refusals_explained, refuse_invalid
from jobs.models import Company
from jobs.platform.keeping import lock_at, refuse_taken, store_edit

LONGEST_STEM = 50  # of a slug, which leaves room for a number


def found_company(name: str) -> Company:
    """A new company; its slug, by which commands name it, is made of the name and stays.

    Raises:
        Refused: the name is missing, too long or has no letter or figure.
        Conflict: a company of this name is there already.
    """
    company = Company(name=_clean(name))
    company.slug = _free_slug(company.name)
    with refusals_explained():
        refuse_invalid(company)
        _refuse_taken_name(company)
        company.save()
    return company


def rename_company(company: Company, name: str, *, version: int | None = None) -> Company:
    """Give a company another name; its slug stays, so that commands still find it.

    Raises:
        Stale: somebody changed it since it was read at `version`.
        Refused, Conflict: as for `found_company`.
    """
    with refusals_explained():
        stored = lock_at(company, version)
        stored.name = _clean(name)
        _refuse_taken_name(stored)
        return store_edit(stored)


def _clean(name: str) -> str:
    tidy = " ".join(name.split())
    if not slugify(tidy):
        raise Refused(
            "The name has no letter or figure.",
            field="name",
            remedy="Give the name the company trades under.",
        )
    return tidy


def _refuse_taken_name(company: Company) -> None:
    refuse_taken(
        company,
        "name",
        "There is a company of this name",
        "Open that one, or add what tells the two apart, such as the town.",
    )


def _free_slug(name: str) -> str:
    stem = slugify(name)[:LONGEST_STEM].strip("-")
    taken = set(Company.objects.filter(slug__startswith=stem).values_list("slug", flat=True))
    numbers = (f"{stem}-{number}" for number in range(2, len(taken) + 3))
    return stem if stem not in taken else next(slug for slug in numbers if slug not in taken)
