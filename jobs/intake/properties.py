"""Taking in one home, and correcting what is known about it."""

from __future__ import annotations

from dataclasses import fields
from datetime import date

import pghistory
from django.utils import timezone

from jobs.errors import Conflict, Refused, refusals_explained, refuse_invalid
from jobs.intake.nations import check_nation
from jobs.intake.values import PropertyValues
from jobs.models import Company, Job, Property, Scheme, Stage, User


def check_scheme(company: Company, scheme: Scheme) -> None:
    """Refuse a scheme the company is not in, or that has ended."""
    if not scheme.companies.filter(pk=company.pk).exists():
        raise Refused(
            "Your company is not in this scheme.", field="scheme", remedy="Choose another scheme."
        )
    if scheme.ends_on is not None and scheme.ends_on < timezone.localdate():
        raise Refused(
            f"{scheme.name} ended on {scheme.ends_on:%-d %b %Y}.",
            field="scheme",
            remedy="Choose a scheme that is open.",
        )


def open_job(home: Property, scheme: Scheme, *, by: User, due_on: date | None = None) -> Job:
    """A job for a home that is already known, under a scheme it has no job of yet.

    Raises:
        Conflict: the home has a job under this scheme already.
        Refused: the scheme is not open to the company.
    """
    with pghistory.context(user=by.pk, what="job opened"), refusals_explained():
        check_scheme(home.company, scheme)
        job = Job(company=home.company, property=home, scheme=scheme, due_on=due_on)
        refuse_invalid(job)
        job.save()
    return job


def same_home(home: Property, values: PropertyValues) -> bool:
    """Whether the answers describe the home that already has their reference."""
    return home.postcode == values.postcode and (
        home.address_line_1.casefold() == values.address_line_1.casefold()
    )


def take_in_property(company: Company, scheme: Scheme, values: PropertyValues, by: User) -> Job:
    """Take in one home and open its job, which waits to be surveyed.

    A home the company knows by the same reference and address gets a job under the further
    scheme; the same reference for another address is refused.

    Raises:
        Refused: the nation cannot be right for the postcode, or is unconfirmed near a border;
            the scheme is not open to the company.
        Conflict: the reference is taken, or the home has a job under this scheme.
    """
    check_nation(values.postcode, values.nation, confirmed=values.nation_confirmed)
    check_scheme(company, scheme)
    with pghistory.context(user=by.pk, what="taken in"), refusals_explained():
        home = company.properties.filter(reference=values.reference).first()
        if home is None:
            home = Property(company=company, **values.of_property())
            refuse_invalid(home)
            home.save()
        elif not same_home(home, values):
            raise Conflict(
                f"You already know “{values.reference}” as {home.address}.",
                field="reference",
                remedy="Give this home a reference of its own.",
            )
        known = home.jobs.filter(scheme=scheme).exclude(stage=Stage.CALLED_OFF).first()
        if known is not None:
            raise Conflict(
                f"This home is already taken in under {scheme.name} as {known.reference}.",
                field="reference",
                remedy="Open that job, or choose another scheme.",
            )
        return open_job(home, scheme, by=by, due_on=values.due_on)


def change_property(home: Property, values: PropertyValues, by: User) -> Property:
    """Correct what is known about a home. Its history keeps what was there before.

    Raises:
        Refused: an answer cannot be right (see `take_in_property`).
        Conflict: another home of the company has this reference.
    """
    check_nation(values.postcode, values.nation, confirmed=values.nation_confirmed)
    with pghistory.context(user=by.pk, what="property changed"), refusals_explained():
        for name, value in values.of_property().items():
            setattr(home, name, value)
        refuse_invalid(home)
        home.save()
    return home


def values_of(home: Property) -> dict[str, object]:
    """What is stored of a home, keyed as `PropertyValues`, to start an edit from."""
    return {f.name: getattr(home, f.name) for f in fields(PropertyValues) if f.name != "due_on"}
