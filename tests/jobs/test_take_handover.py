"""The handover ends the visit and hands the job on; the signature is strokes and nothing else."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest

from jobs.announce import visit_done
from jobs.errors import Conflict, Refused
from jobs.evidence.cautions import CAUTIONS
from jobs.evidence.handover import take_handover
from jobs.evidence.leaving import HowLeft, record_leave
from jobs.evidence.phone_told import Told
from jobs.evidence.signature import checked_signature
from jobs.models import Handover
from tests.factories import A_MONDAY, VisitFactory
from tests.jobs.on_site_scene import Scene, booked_scene, scene_on_site

pytestmark = pytest.mark.django_db

STROKES = "M100 200L150.5 180 Q200,150 260 210 C1 2 3 4 500 200 M300 100 L320 120"
SIGNED_AT = A_MONDAY + timedelta(hours=4)
ALWAYS = [caution.code for caution in CAUTIONS if caution.always]


def sign(scene: Scene, **fields) -> Handover:
    values = {
        "signed_name": "A. Householder",
        "signature_svg": STROKES,
        "cautions_given": ALWAYS,
        "by": scene.installer,
        "signed_at": SIGNED_AT,
        **fields,
    }
    return take_handover(scene.visit, **values)


def test_the_visit_is_done_and_the_job_waits_for_its_verdict():
    scene = scene_on_site()

    handover = sign(scene, signed_name="  A. Householder ")

    scene.visit.refresh_from_db()
    scene.job.refresh_from_db()
    assert (scene.visit.status, scene.visit.left_at) == ("done", SIGNED_AT)
    assert scene.job.stage == "to_assess"
    assert handover.signed_name == "A. Householder"
    assert handover.cautions_given == ALWAYS


def test_it_is_announced_once(monkeypatch):
    heard = []

    def listener(sender, visit, **kwargs):
        heard.append(visit)

    visit_done.connect(listener)
    scene, key = scene_on_site(), uuid4()
    first, again = sign(scene, client_key=key), sign(scene, client_key=key)
    visit_done.disconnect(listener)

    assert first == again
    assert heard == [scene.visit]


def test_a_householder_who_cannot_sign_confirms_with_the_typed_name():
    handover = sign(scene_on_site(), signature_svg="", name_confirmed=True)

    assert handover.signature_svg == ""


def test_what_was_left_undone_is_said_with_its_reason():
    handover = sign(scene_on_site(), all_done=False, not_done_reason=" tank not lagged, no jacket")

    assert handover.not_done_reason == "tank not lagged, no jacket"


@pytest.mark.parametrize(
    ("fields", "field", "why"),
    [
        ({"signed_name": "  "}, "signed_name", "nobody signed"),
        ({"signed_name": "n" * 121}, "signed_name", "longer than the column"),
        ({"signature_svg": ""}, "signature_svg", "neither signed nor confirmed"),
        ({"cautions_given": ALWAYS[1:]}, "cautions_given", "one was not told"),
        ({"cautions_given": [*ALWAYS, "moles"]}, "cautions_given", "no such caution"),
        ({"all_done": False}, "not_done_reason", "undone without a reason"),
        ({"all_done": False, "not_done_reason": "r" * 301}, "not_done_reason", "too long"),
    ],
)
def test_what_is_missing_is_named_and_nothing_is_stored(fields, field, why):
    scene = scene_on_site()

    with pytest.raises(Refused) as refusal:
        sign(scene, **fields)

    assert refusal.value.field == field, why
    assert not Handover.objects.exists()


@pytest.mark.parametrize("status", ["booked", "stopped", "done"])
def test_only_a_crew_on_site_hands_over(status):
    scene = booked_scene(status=status, stop_reason="bats" if status == "stopped" else "")

    with pytest.raises(Conflict):
        sign(scene)


@pytest.mark.parametrize(
    ("path", "why"),
    [
        ("", "empty"),
        ("M", "no numbers"),
        ("M10", "half a point"),
        ("M10 10", "only a dot"),
        ("M10 10 L12 12", "hardly more than a dot"),
        ("L10 10 L90 90", "does not begin with a move"),
        ("10 10 M90 90", "begins with a number"),
        ("M10 10 L90 90 5", "a number too many"),
        ("M10 10 L90 L20 20", "a number too few"),
        ("M-5 10 L90 90", "left of the box"),
        ("M10 10 L1001 90", "right of the box"),
        ("M10 10 L90 401", "below the box"),
        ("M10 10 l20 20", "relative commands"),
        ("M10 10 A5 5 0 0 1 90 90", "arcs"),
        ("M10 10 L1e2 90", "exponents"),
        ("M10 10 Lnan 90", "not a number"),
        ('M10 10"/><script>alert(1)</script>', "a script"),
        ("M10 10 L90 90\x00", "a zero byte"),
        ("M10 10 L٩٠ 90", "digits of another script"),
        ("M10 10 L90 90" * 2000, "too long"),
        ("M" + "1" * 19_998, "a number that never ends"),
    ],
)
def test_a_signature_is_strokes_and_nothing_else(path, why):
    with pytest.raises(Refused) as refusal:
        checked_signature(path)

    assert refusal.value.field == "signature_svg", why


def test_a_days_work_ends_without_handover_while_another_day_is_booked():
    scene = scene_on_site()
    VisitFactory(job=scene.job)

    record_leave(scene.visit, HowLeft(True, True), scene.installer, Told(SIGNED_AT))

    scene.visit.refresh_from_db()
    scene.job.refresh_from_db()
    assert (scene.visit.status, scene.job.stage) == ("done", "on_site")


def test_leaving_without_another_day_needs_the_handover():
    scene = scene_on_site()

    with pytest.raises(Conflict, match="No further visit"):
        record_leave(scene.visit, HowLeft(True, True), scene.installer, Told(SIGNED_AT))
