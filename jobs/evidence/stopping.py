"""Stopping work: the visit is frozen, the job goes back to the office, the office is told."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from functools import partial
from typing import Any
from uuid import UUID, uuid4

import pghistory
from django.conf import settings
from django.core.mail import send_mail
from django.db import transaction
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone

from jobs.announce import visit_changed
from jobs.errors import Refused, refusals_explained
from jobs.evidence.phone_told import Told, fitting_words
from jobs.evidence.questions import QUESTIONS, Question, question_of
from jobs.evidence.receiving import change_status, lock_visit, require_fitting, require_status
from jobs.models import Role, Stage, StopNotice, StopWork, User, Visit
from jobs.stages import move_job

LONGEST_REASON = 300
WAITING_TOO_LONG = timedelta(minutes=2)
MOST_AT_ONCE = 100


def hazards() -> tuple[Question, ...]:
    """The pre-start questions whose unsafe answer stops work."""
    return tuple(question for question in QUESTIONS if question.stops_work)


def stop_work(
    visit: Visit,
    reason: str,
    by: User,
    stopped_at: datetime,
    found: Sequence[str] = (),
    phone_sent_at: datetime | None = None,
    client_key: UUID | None = None,
) -> StopWork:
    """Freeze the visit and send the job back to the office.

    Stopping twice changes nothing but the visit's note, where the further words are kept.

    found: codes of the hazards that were found, as in the pre-start check.

    Raises:
        Refused: no reason is given, or a hazard nobody knows. Conflict: the visit is over.
    """
    reason, hazard_codes = _checked(reason, found)
    told = Told(stopped_at, phone_sent_at, client_key or uuid4())
    with pghistory.context(user=by.pk, what="work stopped"), refusals_explained():
        visit = lock_visit(visit)
        stopped = StopWork.objects.filter(visit=visit).first()
        if stopped is not None:
            also = ", ".join(question_of(code).short for code in hazard_codes)
            further = f"{reason} ({also})" if also else reason
            _keep_further_words(visit, stopped, further, by, told)
            return stopped
        require_fitting(visit)
        require_status(
            visit,
            Visit.Status.BOOKED,
            Visit.Status.ON_SITE,
            remedy="Work that has ended can't be stopped. Ring the office instead.",
        )
        return freeze(visit, reason, hazard_codes, by, told)


def _keep_further_words(visit: Visit, stopped: StopWork, reason: str, by: User, told: Told) -> None:
    """What was said when stopping again, such as on a phone that did not know of the first stop."""
    words = f"When stopping again, {timezone.localtime(told.at):%-d %b %H:%M}, {by}: {reason}"
    if stopped.client_key == told.client_key or reason == stopped.reason or words in visit.note:
        return
    visit.note = f"{visit.note}\n{words}".strip()
    visit.version += 1
    visit.save(update_fields=["note", "version"])
    visit_changed.send(Visit, visit=visit)


def _checked(reason: str, found: Sequence[str]) -> tuple[str, list[str]]:
    if not reason.strip():
        raise Refused(
            "Say why the work stops.",
            field="stop_reason",
            remedy="One sentence is enough, such as “wasps' nest at the hatch”.",
        )
    known = [question.code for question in hazards()]
    for code in found:
        if code not in known:
            raise Refused(
                f"There is no hazard {code!r}.",
                field="found",
                remedy=f"Choose from: {', '.join(known)}.",
            )
    words = fitting_words(reason, "stop_reason", LONGEST_REASON)
    return words, [code for code in known if code in found]


def freeze(visit: Visit, reason: str, found: Sequence[str], by: User, told: Told) -> StopWork:
    """Stop a visit that is locked: the fact, the visit, the job, and word to the office."""
    reason = reason.strip()[:LONGEST_REASON]
    stop = StopWork.objects.create(
        visit=visit,
        found=list(found),
        reason=reason,
        to_call=whom_to_call(found),
        stopped_at=told.phone_at,
        recorded_by=by,
        **told.columns,
    )
    change_status(visit, Visit.Status.STOPPED, stop_reason=reason, left_at=told.at)
    move_job(visit.job, _stage_after_stop(visit))
    visit_changed.send(Visit, visit=visit)
    transaction.on_commit(partial(_enqueue_notice, stop.pk), robust=True)
    return stop


def whom_to_call(found: Sequence[str]) -> str:
    """Whom the crew is to tell, in words; the office in any case."""
    calls = dict.fromkeys(question_of(code).call for code in found)
    return "; ".join(call for call in calls if call) or "the office"


def _stage_after_stop(visit: Visit) -> Stage:
    """A fitting is planned anew; after a call-back the job stands where it was booked from."""
    if visit.kind != Visit.Kind.CALL_BACK:
        return Stage.TO_PLAN
    events: Any = visit.job.events  # type: ignore[attr-defined]
    earlier = events.exclude(stage__in=(Stage.BOOKED, Stage.ON_SITE)).order_by("-pgh_id")
    was = earlier.values_list("stage", flat=True).first()
    return Stage.TO_ASSESS if was == Stage.TO_ASSESS else Stage.SHORT


def _enqueue_notice(stop_id: int) -> None:
    from jobs.tasks import tell_office_of_stop  # the task calls this module

    tell_office_of_stop.delay(stop_id)


def tell_office(stop_id: int) -> bool:
    """Mail the company's planners that work was stopped, once; False if they were told before.

    The note that they were told is written in the transaction that sends: should it break off
    in between, they are told twice rather than never.
    """
    with transaction.atomic():
        stop = (
            StopWork.objects.select_for_update(of=("self",))
            .select_related("visit__job__property", "visit__crew", "recorded_by")
            .get(pk=stop_id)
        )
        if StopNotice.objects.filter(stop=stop).exists():
            return False
        planners = User.objects.active_as(Role.PLANNER).filter(company=stop.visit.company_id)
        told = list(planners.order_by("pk").values_list("email", flat=True))
        if told:
            send_mail(_subject(stop), _text(stop), settings.DEFAULT_FROM_EMAIL, told)
        StopNotice.objects.create(stop=stop, told=told)
    return True


def _subject(stop: StopWork) -> str:
    return f"Work stopped: {stop.visit.job.reference}, {stop.visit.job.property.postcode}"


def _text(stop: StopWork) -> str:
    address = reverse("job", args=[stop.visit.job_id])
    return render_to_string(
        "jobs/on_site/stopped.txt",
        {
            "stop": stop,
            "found": [question_of(code) for code in stop.found],
            "link": settings.PUBLIC_ADDRESS.rstrip("/") + address,
        },
    )


def untold_stop_ids() -> list[int]:
    """Stops of a while ago that no mail followed, such as while the broker was down."""
    stale = timezone.now() - WAITING_TOO_LONG
    waiting = StopWork.objects.filter(notice__isnull=True, received_at__lt=stale)
    return list(waiting.order_by("pk").values_list("pk", flat=True)[:MOST_AT_ONCE])
