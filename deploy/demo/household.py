"""Personal data in the demo: a household that is forgotten, one that waits to be, one on hold."""

from __future__ import annotations

from datetime import datetime

from compliance.personal.erasing import ask_erasure
from compliance.personal.holds import place_hold
from compliance.personal.retention import set_period
from deploy.demo.people import Cast
from jobs.models import Job, Stage


def make_household(cast: Cast, now: datetime) -> None:
    """An erasure done, one that waits for a second person, a legal hold, a period chosen."""
    officer = cast.people["compliance"]
    certified = Job.objects.filter(company=cast.company, stage=Stage.CERTIFIED).order_by("pk")
    called_off = Job.objects.filter(company=cast.company, stage=Stage.CALLED_OFF).order_by("pk")
    gone, held = called_off.first(), certified.last()
    asking = certified.exclude(pk=held.pk if held else None).last()
    if gone is not None and (gone.property.householder_name or gone.property.householder_phone):
        ask_erasure(gone, ["contact"], "Declined the work and asked to be forgotten", officer)
    if asking is not None:
        ask_erasure(asking, ["signatures"], "The household moved away and asked by letter", officer)
    if held is not None:
        place_hold(held, "A claim about damp at the chimney is open", officer)
    set_period(cast.company, "contact", 18, officer)
