"""Reading a drawn job: its page, drafts that stay the auditor's, release, what counts as read."""

from __future__ import annotations

import pytest
from django.urls import reverse

from compliance.audits.findings import (
    discard_draft,
    draft_finding,
    record_finding,
    release_drafts,
    release_round,
)
from compliance.audits.reading import mark_read, neighbours_of
from compliance.audits.rounds import give_up_round
from compliance.audits.things import words_of
from compliance.models import EvidenceAccess, Finding, FindingDraft, JobRead
from jobs.errors import Conflict, Refused
from jobs.models import Job
from tests.compliance.audited import let_auditors_see
from tests.compliance.reading_scene import AuditScene, audit_scene
from tests.compliance.scene import certified_scene
from tests.factories import PhotoFactory, UserFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def scene() -> AuditScene:
    return audit_scene()


def page_of(client, scene: AuditScene) -> str:
    client.force_login(scene.auditor)
    answer = client.get(reverse("drawn_job", args=[scene.drawn.pk]))
    assert answer.status_code == 200
    return answer.text


def test_one_page_shows_all_that_is_read_and_the_opening_is_logged(client, scene):
    shown = page_of(client, scene)

    for part in ("verdict", "drawing", "readings", "pairs", "times", "history", "findings"):
        assert f'id="{part}"' in shown
    for words in ("Mean depth", "Pre-start check", "Handover signed", "<svg", "Certificate"):
        assert words in shown
    logged = EvidenceAccess.objects.get(what="audit reading")
    assert (logged.job_id, logged.person_id) == (scene.drawn.job_id, scene.auditor.pk)


def test_every_thing_the_page_names_can_have_a_finding(client, scene):
    page_of(client, scene)
    client.force_login(scene.auditor)
    form = client.get(reverse("drawn_job", args=[scene.drawn.pk])).context["form"]
    job = scene.drawn.job

    keys = [key for key, _ in form.fields["concerns"].widget.choices]

    assert len(keys) > 12
    assert all(words_of(job, key) for key in keys)


def test_sixty_photos_cost_no_more_queries_than_four(client, scene, django_assert_max_num_queries):
    for label in range(28):
        for moment in ("before", "after"):
            PhotoFactory(visit=scene.scene.visit, moment=moment, point_label=f"X{label}")
    client.force_login(scene.auditor)

    with django_assert_max_num_queries(50):
        shown = client.get(reverse("drawn_job", args=[scene.drawn.pk])).text

    assert "60 photos at 30 points" in shown


def test_a_draft_is_the_auditors_alone_until_it_is_released(client, scene):
    reading = scene.scene.visit.depth_readings.first()
    client.force_login(scene.auditor)
    sent = {"severity": "major", "text": "Not laid here.", "concerns": f"reading:{reading.pk}"}

    client.post(reverse("finding_draft_new", args=[scene.drawn.pk]), sent)

    assert not Finding.objects.exists()
    client.force_login(scene.person("compliance_officer"))
    assert "Not laid here." not in client.get(reverse("findings")).text
    client.force_login(scene.auditor)
    client.post(reverse("drafts_release", args=[scene.drawn.pk]))
    client.force_login(scene.person("compliance_officer"))
    shown = client.get(reverse("finding", args=[Finding.objects.get().pk])).text
    assert "Not laid here." in shown and f"Reading of {reading.depth_mm:g} mm" in shown
    assert not FindingDraft.objects.exists()


def test_htmx_gets_the_list_back_and_a_page_without_it_the_typed_words(client, scene):
    client.force_login(scene.auditor)
    address = reverse("finding_draft_new", args=[scene.drawn.pk])

    part = client.post(address, {"severity": "minor", "text": ""}, headers={"HX-Request": "true"})
    page = client.post(address, {"severity": "minor", "text": "Here.", "concerns": "photo:0"})

    assert part.text.lstrip().startswith('<div id="finding-list"') and "data-refused" in part.text
    assert "has nothing called" in page.text and "Here.</textarea>" in page.text
    assert not FindingDraft.objects.exists()


def test_a_draft_that_another_tab_has_dropped_is_told_as_gone_with_what_was_typed(client, scene):
    draft = draft_finding(scene.drawn, scene.auditor, severity="minor", text="Gap.")
    anew, discard = (reverse(f"finding_draft{x}", args=[draft.pk]) for x in ("", "_discard"))
    discard_draft(draft)
    client.force_login(scene.auditor)

    dropped = client.post(f"{discard}?of={scene.drawn.pk}", follow=True)
    typed = client.post(f"{anew}?of={scene.drawn.pk}", {"severity": "minor", "text": "A gap."})

    assert "That draft is gone" in dropped.text
    assert typed.status_code == 422 and "A gap.</textarea>" in typed.text
    assert "That draft is gone" in typed.text
    assert client.get(anew).status_code == 404


@pytest.mark.parametrize(
    "key",
    ["photo:9999999", "photo:x", "reading:-1", "pair:P99", "time:photo", "time:time:x", "house:1"],
)
def test_a_finding_concerns_nothing_that_the_job_has_not(scene, key):
    with pytest.raises(Refused) as refusal:
        draft_finding(scene.drawn, scene.auditor, severity="minor", text="Gap.", concerns=key)

    assert refusal.value.field == "concerns"


def test_a_finding_is_not_about_another_jobs_photo(scene):
    other, _ = certified_scene()
    key = f"photo:{other.job.photos.first().pk}"

    with pytest.raises(Refused):
        record_finding(scene.drawn, scene.auditor, severity="minor", text="Gap.", concerns=key)


def test_a_job_read_without_a_finding_is_sound_and_the_next_opens(client):
    scene = audit_scene(jobs=2)
    first, second = scene.round.drawn_jobs.order_by("draw_order")
    client.force_login(scene.auditor)

    onward = client.post(reverse("job_read", args=[first.pk]))
    last = client.post(reverse("job_read", args=[second.pk]))

    assert onward.url == reverse("drawn_job", args=[second.pk])
    assert last.url == reverse("audit_round", args=[scene.round.pk])
    assert list(Finding.objects.values_list("severity", flat=True)) == ["sound", "sound"]


def test_a_job_read_with_a_draft_is_not_called_sound(scene):
    draft_finding(scene.drawn, scene.auditor, severity="minor", text="Gap.")

    mark_read(scene.drawn, scene.auditor)
    mark_read(scene.drawn, scene.auditor)

    assert JobRead.objects.count() == 1 and not Finding.objects.exists()
    with pytest.raises(Conflict):
        record_finding(scene.drawn, scene.auditor, severity="sound")


def test_neighbours_follow_the_draw_and_pass_over_what_is_read():
    scene = audit_scene(jobs=3)
    first, second, third = scene.round.drawn_jobs.select_related("round", "job").order_by(
        "draw_order"
    )
    mark_read(second, scene.auditor)

    found = neighbours_of(first)

    assert (found.before, found.after, found.next_unread) == (None, second.pk, third.pk)
    assert (found.number, found.total, found.read) == (1, 3, 1)


def test_all_drafts_of_a_round_are_released_together():
    scene = audit_scene(jobs=2)
    for drawn in scene.round.drawn_jobs.select_related("round", "job"):
        draft_finding(drawn, scene.auditor, severity="observation", text="Dusty lens.")

    found = release_round(scene.round, scene.auditor)

    assert len(found) == 2 == Finding.objects.count()
    with pytest.raises(Refused):
        release_drafts(scene.drawn, scene.auditor)


def test_another_auditor_of_the_scheme_sees_the_draft_and_no_other_does(client, scene):
    draft = draft_finding(scene.drawn, scene.auditor, severity="minor", text="Gap.")
    colleague = UserFactory(role="auditor", scheme=scene.auditor.scheme)

    seen = [
        person
        for person in (colleague, UserFactory(role="auditor"), scene.person("compliance_officer"))
        if FindingDraft.objects.visible_to(person).filter(pk=draft.pk)
    ]

    assert seen == [colleague]


def test_jobs_outside_sealed_populations_are_hidden(scene):
    certified_scene(scheme=scene.auditor.scheme, company=scene.scene.company)

    assert list(Job.objects.visible_to(scene.auditor)) == [scene.scene.job]


def test_a_round_that_was_given_up_opens_nothing():
    """Or an auditor could seal and give up until every job was seen."""
    scene, _ = certified_scene()
    record = let_auditors_see(scene.job)
    auditor = record.auditor
    assert Job.objects.visible_to(auditor).exists()

    give_up_round(record, "The secret is lost.")

    assert not Job.objects.visible_to(auditor).exists()
