"""What speaks against a visit: crew, skills, absences, and what must come before or after it.

Each objection is a refusal with a sentence. Booking raises the first; trying a place out
(`trying.py`) shows them all. Double bookings are not among them: the database refuses those.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta

from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.utils import timezone

from jobs.errors import Conflict, Refused
from jobs.models import Crew, Job, Operative, Skill, Van, Visit, VisitKind, VisitNeed
from jobs.planning.absences import spell_end
from jobs.planning.calendars import Away, away_between
from jobs.planning.going_along import coming_along
from jobs.planning.need_facts import SKILLS

ENDED = ("done",)
COMING = ("booked", "on_site")


@dataclass(frozen=True, slots=True)
class Intended:
    """A visit that somebody wants to book, or to move (`visit`).

    `joining`: who of other crews, besides those who go along so far, is to be on it again.
    """

    job: Job
    kind: str
    crew: Crew
    van: Van | None
    during: DateTimeTZRange
    need: VisitNeed | None = None
    visit: Visit | None = None
    joining: Sequence[Operative] = ()

    @property
    def word(self) -> str:
        return VisitKind(self.kind).label.lower()


def objections(intended: Intended) -> Iterator[Refused]:
    """Everything that speaks against it, the plainest first."""
    yield from _not_ours(intended)
    yield from crew_objections(intended)
    yield from order_objections(intended)


def refuse_objections(intended: Intended) -> None:
    """Raise the first objection, if there is any."""
    for objection in objections(intended):
        raise objection


def operatives_there(crew: Crew, away: Away) -> list[Operative]:
    """Who of a crew is not away in the time that `away` was read for."""
    return [person for person in crew.operatives.all() if person.pk not in away.operatives]


def _not_ours(intended: Intended) -> Iterator[Refused]:
    company, van = intended.job.company_id, intended.van
    if intended.crew.company_id != company or not intended.crew.is_active:
        yield Refused("This crew cannot be booked.", field="crew", remedy="Choose another crew.")
    if van is not None and van.company_id != company:
        yield Refused("This van cannot be booked.", field="van", remedy="Choose another van.")


def crew_objections(intended: Intended) -> Iterator[Refused]:
    """The crew is away, or nobody of it or along with it who is there has a skill it takes."""
    crew, during = intended.crew, intended.during
    away = away_between(crew.company_id, during.lower, during.upper)
    for stretch in away.crews.get(crew.pk, ())[:1]:
        ends = spell_end(stretch.ends)
        yield Conflict(
            f"{crew.name} is away then ({stretch.why}, until {ends}).",
            field="crew",
            remedy="Choose another crew or time, or change the absence.",
        )
    there = operatives_there(crew, away)
    lacking = [
        skill
        for skill in skills_for(intended.kind, intended.need)
        if not any(skill in person.skills for person in there)
    ]
    if lacking and intended.visit is not None:  # who goes along may have it
        along = [*coming_along(intended.visit, crew, during), *intended.joining]
        lacking = [skill for skill in lacking if not any(skill in p.skills for p in along)]
    usually = {skill for person in crew.operatives.all() for skill in person.skills}
    for skill in lacking:
        yield _without_skill(intended, Skill(skill), usual=skill in usually)


def skills_for(kind: str, need: VisitNeed | None) -> list[str]:
    """The skills that a visit of a kind takes, and those its need asks for."""
    return list(dict.fromkeys([str(SKILLS[kind]), *(need.skills if need else ())]))


def _without_skill(intended: Intended, skill: Skill, *, usual: bool) -> Refused:
    who = "who is there then" if usual else ""
    nobody = f"Nobody in {intended.crew.name} {who}".strip()
    return Refused(
        f"{nobody} has the skill “{skill.label}” that a {intended.word} needs."
        if skill == SKILLS[intended.kind]
        else f"{nobody} has the skill “{skill.label}” that this home needs.",
        field="crew",
        remedy="Choose another crew, or record the skill on the crews page.",
    )


def order_objections(intended: Intended) -> Iterator[Refused]:
    """What must be over before it is not, or what must wait for it would not wait."""
    need = intended.need
    if need is None:
        return
    if need.after_id is not None:
        yield from _too_early(intended, need)
    yield from _followers_too_early(intended, need)


def _too_early(intended: Intended, need: VisitNeed) -> Iterator[Refused]:
    before = VisitNeed.objects.select_related("job").get(pk=need.after_id)
    if before.state in (VisitNeed.State.DONE, VisitNeed.State.WITHDRAWN):
        return
    word = before.get_kind_display().lower()
    if before.state == VisitNeed.State.OPEN:
        yield Conflict(
            f"The {word} of {before.job.reference} must come first and is not booked.",
            field="starts_at",
            remedy=f"Book the {word} first.",
        )
        return
    last = before.visits.filter(status__in=(*COMING, *ENDED)).order_by("during").last()
    earliest = last.during.upper + timedelta(hours=need.after_gap_hours) if last else None
    if earliest is not None and intended.during.lower < earliest:
        when = timezone.localtime(earliest)
        yield Conflict(
            f"The {word} of {before.job.reference} must be over first; "
            f"it is booked until {when:%a %-d %b %H:%M}.",
            field="starts_at",
            remedy="Choose a later time, or move that visit.",
        )


def _followers_too_early(intended: Intended, need: VisitNeed) -> Iterator[Refused]:
    followers = Visit.objects.filter(need__after=need, status="booked").select_related("need")
    for visit in followers.order_by("during")[:1]:
        latest = visit.during.lower - timedelta(hours=visit.need.after_gap_hours)
        if intended.during.upper > latest:
            when = timezone.localtime(visit.during.lower)
            yield Conflict(
                f"The {visit.get_kind_display().lower()} that must follow it is booked for "
                f"{when:%a %-d %b %H:%M}.",
                field="starts_at",
                remedy="Choose an earlier time, or move that visit first.",
            )


def refuse_leaving_followers(visit: Visit) -> None:
    """Refuse to cancel a visit that a booked one must follow; first that one is moved."""
    if visit.need_id is None:
        return
    follower = Visit.objects.filter(need__after=visit.need_id, status="booked").first()
    if follower is not None:
        when = timezone.localtime(follower.during.lower)
        raise Conflict(
            f"The {follower.get_kind_display().lower()} of {when:%a %-d %b %H:%M} must follow it.",
            field="status",
            remedy="Cancel that visit first, or move both.",
        )
