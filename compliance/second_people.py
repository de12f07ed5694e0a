"""Who may be the second person that a waiver needs.

The rule stands in the database, as `compliance_second_people`, which the trigger asks too: another
compliance officer of the company; where none is left, a planner; whoever owns the open shortfall
only where neither is left. Nobody who surveyed the loft, was on a visit or recorded anything there:
nobody agrees to leave their own work short.
"""

from __future__ import annotations

from django.db.models.expressions import RawSQL

from compliance.models import Shortfall, Waiver
from jobs.models import User


def second_people(job_id: int, first: User | int) -> list[User]:
    """Whoever may answer what `first` records on a job, by name."""
    first_id = first if isinstance(first, int) else first.pk
    able = RawSQL("SELECT compliance_second_people(%s, %s)", [job_id, first_id])
    people = User.objects.filter(pk__in=able)
    return list(people.order_by("role", "first_name", "last_name", "pk"))


def may_be_second(waiver: Waiver, person: User) -> bool:
    return person in second_people(waiver.job_id, waiver.recorded_by_id)


def who_can(job_id: int, first: User | int) -> str:
    """A sentence for the page: who can be the second person, or what to do where nobody can."""
    able = second_people(job_id, first)
    names = [f"{person} ({person.get_role_display().lower()})" for person in able]
    if names:
        can = f"The second person can be {' or '.join(names)}."
        if Shortfall.objects.open().filter(job=job_id, owner__in=able).exists():
            return f"{can} They own the shortfall: that is allowed only because nobody else can be."
        return f"{can} The shortfall’s owner can be only where nobody else can."
    return (
        "Nobody in the company can be the second person: there is no other compliance officer, and "
        "no planner who did not work on this loft. A planner opens an account for a second "
        "compliance officer under People."
    )
