"""Queries over jobs and what belongs to them, by who asks and by what needs a hand.

Every queryset of a company's records has `visible_to(user)`: what this person may see,
and nothing else (anything outside is a 404 on pages and in the API).
"""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING, Any, Self

from django.db import models
from django.db.models import Exists, F, OuterRef, Q
from django.utils import timezone

from jobs.audited import audited_jobs
from jobs.numbers import whole_number

if TYPE_CHECKING:
    from jobs.models.people import User


def job_scope(user: User | Any, path: str = "") -> Q | None:
    """The filter on jobs a person may see, `path` being the lookup that leads to the job.

    Company people see their company's jobs, an installer those that its crew was or is
    booked on, an auditor those of its scheme that stand in a sealed population; None means
    nothing at all.
    """
    prefix = f"{path}__" if path else ""
    role = getattr(user, "role", None)
    if role in ("planner", "surveyor", "compliance_officer"):
        return Q(**{f"{prefix}company_id": user.company_id})
    if role == "installer":
        from jobs.models.visits import Visit

        booked = Visit.objects.booked_on_crew_of(user).values("job_id")
        return Q(**{f"{prefix}company_id": user.company_id, f"{prefix}id__in": booked})
    if role == "auditor":
        audited = audited_jobs(user)
        if audited is None:
            return None
        return Q(**{f"{prefix}id__in": audited})
    return None


class JobScopedQuerySet(models.QuerySet[Any]):
    """Records that belong to a job; subclasses name the lookup that leads to it."""

    job_path = "job"

    def visible_to(self, user: User | Any) -> Self:
        scope = job_scope(user, self.job_path)
        return self.none() if scope is None else self.filter(scope)


class JobQuerySet(JobScopedQuerySet):
    job_path = ""

    def with_place(self) -> Self:
        return self.select_related("property", "scheme", "company")

    def at_stage(self, *stages: str) -> Self:
        return self.filter(stage__in=stages)

    def open(self) -> Self:
        return self.exclude(stage__in=("certified", "called_off"))

    def late(self, today: date) -> Self:
        """Open jobs whose due date has passed."""
        return self.open().filter(due_on__lt=today)

    def search(self, words: str) -> Self:
        """By job reference (J-000123 or 123), own reference, address or postcode."""
        words = words.strip()
        if not words:
            return self
        found = (
            Q(property__reference__icontains=words)
            | Q(property__address_line_1__icontains=words)
            | Q(property__town__icontains=words)
            | Q(property__postcode__istartswith=words)
        )
        number = whole_number(words.upper().removeprefix("J-").lstrip("0"))
        if number is not None:
            found |= Q(pk=number)
        return self.filter(found)


def _midnight(day: date) -> datetime:
    """Where a day begins; unlike the day of a moment it can be looked up in an index."""
    return timezone.make_aware(datetime.combine(day, time.min))


def _crews_of(user: User | Any) -> models.QuerySet[Any]:
    from jobs.models.crews import Operative

    return Operative.objects.filter(user=user, crew__isnull=False).order_by().values("crew_id")


def _went_along(user: User | Any) -> models.QuerySet[Any]:
    from jobs.models.visits import VisitOperative

    return VisitOperative.objects.filter(operative__user=user).order_by().values("visit_id")


class VisitQuerySet(JobScopedQuerySet):
    def visible_to(self, user: User | Any) -> Self:
        if getattr(user, "role", None) == "installer":
            return self.booked_on_crew_of(user)
        return super().visible_to(user)

    def live(self) -> Self:
        return self.exclude(status="cancelled")

    def booked_on_crew_of(self, user: User | Any) -> Self:
        """Visits of the crew the person now belongs to, or that it was itself booked on.

        Two ways put together and no join: PostgreSQL then knows how few visits that is of all.
        """
        visits = self.model._default_manager.order_by()
        of_crew = visits.filter(crew__in=_crews_of(user)).values("pk")
        in_person = visits.filter(pk__in=_went_along(user)).values("pk")
        return self.live().filter(pk__in=of_crew.union(in_person))

    def on_day(self, day: date) -> Self:
        return self.between(day, day + timedelta(days=1))

    def between(self, first: date, until: date) -> Self:
        """Visits that begin on or after one day and before another."""
        return self.filter(
            during__startswith__gte=_midnight(first), during__startswith__lt=_midnight(until)
        )

    def never_begun(self, today: date) -> Self:
        """Visits of days gone by that nobody began."""
        # Its beginning tells nothing new; an index finds it by that.
        return self.filter(
            status="booked",
            during__startswith__lt=_midnight(today),
            during__endswith__lt=_midnight(today),
        )

    def with_job(self) -> Self:
        return self.select_related("job__property", "job__scheme", "crew", "van")

    def with_who_goes(self) -> Self:
        """With the operatives on each, and what its need asks of them."""
        return self.select_related("need").prefetch_related("visit_operatives__operative")


class CompanyScopedQuerySet(models.QuerySet[Any]):
    """Records of a company that no job leads to: properties, crews, vans, operatives."""

    def visible_to(self, user: User | Any) -> Self:
        role = getattr(user, "role", None)
        if role in ("planner", "surveyor", "compliance_officer"):
            return self.filter(company_id=user.company_id)
        return self.none()


class VisitNeedQuerySet(CompanyScopedQuerySet):
    """What is still to be planned: office matter, so neither installers nor auditors see it."""

    def with_job(self) -> Self:
        return self.select_related(
            "job__property", "job__scheme", "company", "fixed_crew", "preferred_crew", "after__job"
        )

    def open(self) -> Self:
        return self.filter(state="open")

    def live(self) -> Self:
        """Waiting for a visit, or for one that is booked to be over."""
        return self.filter(state__in=("open", "booked"))


class AgreedWindowQuerySet(models.QuerySet[Any]):
    def visible_to(self, user: User | Any) -> Self:
        role = getattr(user, "role", None)
        if role in ("planner", "surveyor", "compliance_officer"):
            return self.filter(need__company_id=user.company_id)
        return self.none()


# A line of a plan after which a crew does not come when, or not the one, that was told. One that
# only lasts longer breaks no promise.
BREAKS_PROMISE = Q(visit__promised_at__isnull=False) & (
    Q(change__in=("taken_off", "other_crew"))
    | (Q(change="moved") & ~Q(during__startswith=F("was_during__startswith")))
)


class ProposedVisitQuerySet(models.QuerySet[Any]):
    def visible_to(self, user: User | Any) -> Self:
        role = getattr(user, "role", None)
        if role in ("planner", "surveyor", "compliance_officer"):
            return self.filter(run__company_id=user.company_id)
        return self.none()

    def with_place(self) -> Self:
        return self.select_related(
            "run",
            "crew",
            "van",
            "was_crew",
            "need__job__property",
            "visit__job__property",
            "visit__crew",
        )

    def changing(self) -> Self:
        """Lines that would change what is booked."""
        return self.filter(change__in=("new", "moved", "other_crew", "taken_off"))

    def breaking_promises(self) -> Self:
        """Lines after which a crew does not come when, or not the one, that was told."""
        return self.filter(BREAKS_PROMISE)

    def unanswered(self) -> Self:
        return self.filter(answer="none")


class PropertyQuerySet(CompanyScopedQuerySet):
    def visible_to(self, user: User | Any) -> Self:
        """A company's own; for installers and auditors those of jobs they may see."""
        if getattr(user, "role", None) in ("installer", "auditor"):
            scope = job_scope(user, "jobs")
            return self.none() if scope is None else self.filter(scope).distinct()
        return super().visible_to(user)


class SchemeQuerySet(models.QuerySet[Any]):
    def visible_to(self, user: User | Any) -> Self:
        """The schemes of a company; an auditor's own; for installers those of jobs they may see.

        A platform admin keeps them all.
        """
        role = getattr(user, "role", None)
        if role == "platform_admin":
            return self
        if role == "auditor":
            return self.filter(pk=user.scheme_id)
        if role == "installer":
            scope = job_scope(user, "jobs")
            return self.none() if scope is None else self.filter(scope).distinct()
        if getattr(user, "company_id", None) is None:
            return self.none()
        return self.filter(companies=user.company_id)

    def without_companies(self) -> Self:
        return self.filter(companies=None)

    def without_auditor(self) -> Self:
        """Schemes that nobody who may sign in audits."""
        from jobs.models.people import User

        return self.exclude(Exists(User.objects.active_as("auditor").filter(scheme=OuterRef("pk"))))


class CompanyQuerySet(models.QuerySet[Any]):
    def visible_to(self, user: User | Any) -> Self:
        """All of them for a platform admin, for its people their own."""
        if getattr(user, "role", None) == "platform_admin":
            return self
        return self.filter(pk=getattr(user, "company_id", None))

    def without_anyone_as(self, role: str) -> Self:
        """Companies in which nobody who may sign in has this role."""
        from jobs.models.people import User

        return self.exclude(Exists(User.objects.active_as(role).filter(company=OuterRef("pk"))))

    def without_schemes(self) -> Self:
        return self.filter(schemes=None)


class PeopleQuerySet(models.QuerySet[Any]):
    def visible_to(self, user: User | Any) -> Self:
        """Accounts: all for a platform admin, for a planner those of its company."""
        role = getattr(user, "role", None)
        if role == "platform_admin":
            return self
        if role == "planner":
            return self.filter(company_id=user.company_id)
        return self.none()

    def with_place(self) -> Self:
        return self.select_related("company", "scheme")

    def active_as(self, role: str) -> Self:
        """Who may sign in, in this role."""
        return self.filter(role=role, is_active=True)

    def never_signed_in(self) -> Self:
        """Open accounts that nobody ever signed in with on a page."""
        return self.filter(is_active=True, last_login=None)

    def search(self, words: str) -> Self:
        """By name or e-mail address, each word somewhere."""
        found = self
        for word in words.split():
            found = found.filter(
                Q(email__icontains=word)
                | Q(first_name__icontains=word)
                | Q(last_name__icontains=word)
            )
        return found
