"""Schemes on the platform: founding one, changing its terms, who works under it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from jobs.errors import Conflict, Refused, refusals_explained, refuse_invalid
from jobs.models import Company, Job, Scheme
from jobs.platform.keeping import lock_at, refuse_taken, store_edit

FEWEST_REMEDY_WEEKS, MOST_REMEDY_WEEKS = 1, 104  # a bound of ours; a scheme sets its own weeks


@dataclass(frozen=True, slots=True)
class SchemeTerms:
    """What a scheme lays down. `remedy_weeks` is the time to put a shortfall right."""

    name: str
    starts_on: date
    ends_on: date | None = None
    remedy_weeks: int = 8


def found_scheme(terms: SchemeTerms, code: str, companies: Iterable[Company] = ()) -> Scheme:
    """A new scheme, with the companies that work under it.

    Raises:
        Refused: a term cannot be (names the field).
        Conflict: the name or code is taken.
    """
    scheme = Scheme(code=code.strip().lower())
    with refusals_explained():
        _apply(terms, scheme)
        refuse_taken(scheme, "code", "There is a scheme of this code", "Choose another short code.")
        refuse_invalid(scheme)
        scheme.save()
        scheme.companies.set(companies)
    return scheme


def change_scheme(
    scheme: Scheme,
    terms: SchemeTerms,
    companies: Iterable[Company] | None = None,
    *,
    version: int | None = None,
) -> Scheme:
    """Change a scheme's terms, and the companies under it where they are given. The code stays.

    Raises:
        Stale: somebody changed it since it was read at `version`.
        Refused: a term cannot be (names the field).
        Conflict: the name is taken, or a company taken off still has open jobs under it.
    """
    with refusals_explained():
        stored = lock_at(scheme, version)
        _apply(terms, stored)
        if companies is not None:
            chosen = list(companies)
            _refuse_leaving_jobs_behind(stored, chosen)
            stored.companies.set(chosen)
        return store_edit(stored)


def _apply(terms: SchemeTerms, scheme: Scheme) -> None:
    if terms.ends_on is not None and terms.ends_on < terms.starts_on:
        raise Refused(
            "The scheme ends before it starts.",
            field="ends_on",
            remedy="Give a later last day, or leave it empty if none is set yet.",
        )
    if not FEWEST_REMEDY_WEEKS <= terms.remedy_weeks <= MOST_REMEDY_WEEKS:
        raise Refused(
            f"{terms.remedy_weeks} weeks cannot be kept.",
            field="remedy_weeks",
            remedy=f"Give {FEWEST_REMEDY_WEEKS} to {MOST_REMEDY_WEEKS} weeks.",
        )
    scheme.name = " ".join(terms.name.split())
    scheme.starts_on, scheme.ends_on = terms.starts_on, terms.ends_on
    scheme.remedy_weeks = terms.remedy_weeks
    refuse_taken(
        scheme,
        "name",
        "There is a scheme of this name",
        "Open that one, or add what tells the two apart, such as the year.",
    )


def _refuse_leaving_jobs_behind(scheme: Scheme, chosen: list[Company]) -> None:
    """A company keeps its place under a scheme until its jobs there are certified or called off."""
    left = scheme.companies.exclude(pk__in=[company.pk for company in chosen])
    for company in left:
        count = Job.objects.open().filter(scheme=scheme, company=company).count()
        if count:
            raise Conflict(
                f"{company} has {count} open job{'s' if count > 1 else ''} under this scheme.",
                field="companies",
                remedy="It can be taken off when they are certified or called off.",
            )
