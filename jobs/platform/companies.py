"""Companies on the platform: founding one, changing its name."""

from __future__ import annotations

import re

from django.utils.text import slugify

from jobs.errors import Refused, refusals_explained, refuse_invalid
from jobs.models import Company
from jobs.platform.keeping import lock_at, refuse_taken, store_edit

LONGEST_STEM = 50  # of a slug, which leaves room for a number
TELEPHONE = re.compile(r"\+?[\d() -]{0,4}\d(?:[ ()-]{0,2}\d){4,17}")


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


def set_office_phone(company: Company, phone: str, *, version: int | None = None) -> Company:
    """Say by which number crews reach the office; an empty one takes it back.

    Raises:
        Stale: somebody changed the company since it was read at `version`.
        Refused: that is no telephone number.
    """
    tidy = " ".join(phone.split())
    if tidy and not TELEPHONE.fullmatch(tidy):
        raise Refused(
            f"“{tidy}” is no telephone number.",
            field="office_phone",
            remedy="Give figures, with + in front for a country, such as 01632 960 001.",
        )
    with refusals_explained():
        stored = lock_at(company, version)
        stored.office_phone = tidy
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
