"""Issuing many certificates: in pieces, stopped and taken up again, never one too many."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import OperationalError
from django.urls import reverse
from django.utils import timezone

from compliance import issue_runs, tasks
from compliance.assess import assess_job
from compliance.catching_up import left_to_certify
from compliance.certificates.issue import issue_certificate
from compliance.certificates.withdraw import withdraw_certificate
from compliance.issue_runs import begin_issue_run, counts_of, go_on, left_behind, move_on, stop_run
from compliance.models import Certificate, IssueRun, IssueRunJob
from jobs.errors import Conflict, Refused
from jobs.models import Job, User
from tests.compliance.scene import Scene, bare, fitted, short_scene
from tests.factories import CompanyFactory, UserFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def company():
    return CompanyFactory()


@pytest.fixture
def officer(company) -> User:
    return UserFactory(role="compliance_officer", company=company)


@pytest.fixture
def drawn_plainly(monkeypatch) -> list[str]:
    """No typesetting: what is tried here is who gets a certificate. Gives the codes drawn."""
    drawn: list[str] = []

    def plain(contents) -> bytes:
        drawn.append(contents.code)
        return contents.code.encode()

    monkeypatch.setattr("compliance.certificates.issue.make_pdf", plain)
    return drawn


def meeting(company, count: int) -> list[Scene]:
    scenes = [fitted(company=company) for _ in range(count)]
    for scene in scenes:
        assess_job(scene.job.pk)
    return scenes


def walk(run: IssueRun) -> IssueRun:
    while move_on(run.pk):
        pass
    run.refresh_from_db()
    return run


def by_job(run: IssueRun) -> dict[int, IssueRunJob]:
    return {row.job_id: row for row in run.jobs.all()}


def test_each_job_that_meets_gets_one_and_the_others_a_reason(company, officer, drawn_plainly):
    good, late = meeting(company, 2)
    short, _ = short_scene(company=company)
    unproven = bare(company=company)
    assess_job(unproven.job.pk)
    strangers = meeting(CompanyFactory(), 1)
    references = [s.job.reference for s in (good, late, short, unproven)]

    run = walk(begin_issue_run(officer, references=references))

    found = by_job(run)
    assert run.ended_at is not None
    assert {found[s.job.pk].state for s in (good, late)} == {"issued"}
    assert found[good.job.pk].certificate.issued_by == officer
    assert found[short.job.pk].reason.startswith("Short: Too little wool:")
    assert "The handover is not signed." in found[unproven.job.pk].reason
    assert strangers[0].job.pk not in found
    assert Certificate.objects.count() == 2


def test_without_references_it_takes_what_waits(company, officer, drawn_plainly):
    (scene,) = meeting(company, 1)
    short_scene(company=company)
    fitted(company=company)

    run = begin_issue_run(officer)

    assert list(by_job(run)) == [scene.job.pk]


def test_a_killed_piece_is_taken_up_and_nothing_issued_twice(
    company, officer, drawn_plainly, monkeypatch
):
    meeting(company, 3)
    run = begin_issue_run(officer)
    write = issue_runs._write

    def killed_at_the_second(row, *args, **kwargs):
        if Certificate.objects.count() == 2:
            raise SystemExit("killed")
        write(row, *args, **kwargs)

    with monkeypatch.context() as broken:
        broken.setattr(issue_runs, "_write", killed_at_the_second)
        with pytest.raises(SystemExit):
            move_on(run.pk)
    assert counts_of(run)["done"] == 1
    assert not move_on(run.pk)  # what was in hand may still be worked on elsewhere
    IssueRunJob.objects.waiting().update(taken_at=timezone.now() - timedelta(minutes=6))

    walk(run)

    assert counts_of(run) == {"issued": 3, "total": 3, "done": 3}
    assert Certificate.objects.count() == len(drawn_plainly) == 3


def test_a_database_that_goes_away_leaves_the_job_waiting(company, officer, monkeypatch):
    meeting(company, 1)
    run = begin_issue_run(officer)

    def gone(*args) -> None:
        raise OperationalError("gone")

    monkeypatch.setattr(issue_runs, "issue_certificate", gone)
    with pytest.raises(OperationalError):
        move_on(run.pk)

    assert counts_of(run)["waiting"] == 1


def test_one_job_that_breaks_stops_no_run(company, officer, drawn_plainly, monkeypatch):
    broken, good = meeting(company, 2)
    run = begin_issue_run(officer)

    def breaks(job_id: int, by: User) -> Certificate:
        if job_id == broken.job.pk:
            raise ZeroDivisionError
        return issue_certificate(job_id, by)

    monkeypatch.setattr(issue_runs, "issue_certificate", breaks)
    found = by_job(walk(run))

    assert found[broken.job.pk].reason == issue_runs.BROKEN
    assert found[good.job.pk].state == "issued"


def test_it_stops_and_goes_on_where_it_stopped(company, officer, drawn_plainly, monkeypatch):
    meeting(company, 3)
    monkeypatch.setattr(issue_runs, "PIECE", 1)
    run = begin_issue_run(officer)
    assert move_on(run.pk)

    stop_run(run)
    run = walk(run)
    assert (counts_of(run)["issued"], counts_of(run)["waiting"], run.was_stopped) == (1, 2, True)
    assert not move_on(run.pk)

    go_on(run)
    run = walk(run)
    assert (counts_of(run)["issued"], run.was_stopped) == (3, False)
    with pytest.raises(Conflict, match="was not stopped"):
        go_on(run)


def test_two_at_a_time_share_it_and_the_last_one_ends_it(company, officer, drawn_plainly):
    meeting(company, 3)
    run = begin_issue_run(officer)
    (in_hand, *_) = run.jobs.all()
    IssueRunJob.objects.filter(pk=in_hand.pk).update(taken_at=timezone.now())

    assert move_on(run.pk)
    assert not move_on(run.pk)  # the other still has one in hand
    stop_run(run)
    assert not move_on(run.pk)
    run.refresh_from_db()
    assert (run.ended_at, counts_of(run)["issued"]) == (None, 2)
    issue_runs._issue(run, in_hand)

    assert not move_on(run.pk)
    run.refresh_from_db()
    assert run.ended_at is not None
    assert counts_of(run) == {"issued": 3, "total": 3, "done": 3}


def test_storage_that_is_down_is_nothing_of_the_job(company, officer, monkeypatch):
    meeting(company, 1)
    run = begin_issue_run(officer)

    def down(*args) -> None:
        raise ConnectionError("storage is down")

    monkeypatch.setattr("compliance.certificates.issue.store_pdf", down)
    with pytest.raises(ConnectionError):
        move_on(run.pk)

    assert counts_of(run)["waiting"] == 1


def test_what_had_one_before_is_not_counted_as_issued(company, officer, drawn_plainly):
    (scene,) = meeting(company, 1)
    issue_certificate(scene.job.pk, at=timezone.now() - timedelta(days=1))

    run = walk(begin_issue_run(officer, references=[scene.job.reference]))

    assert by_job(run)[scene.job.pk].state == "had_one"
    assert Certificate.objects.count() == 1


@pytest.mark.parametrize("decided", [False, True])
def test_after_a_person_withdrew_it_must_be_said(company, officer, drawn_plainly, decided: bool):
    (scene,) = meeting(company, 1)
    first = issue_certificate(scene.job.pk, at=timezone.now() - timedelta(days=1))
    withdraw_certificate(first, "opened up", officer)

    run = walk(begin_issue_run(officer, after_withdrawal=decided))

    row = by_job(run)[scene.job.pk]
    assert row.state == ("issued" if decided else "refused")
    assert decided or "A person withdrew its last certificate" in row.reason


def test_one_run_at_a_time_and_none_over_nothing(company, officer):
    with pytest.raises(Refused, match="No job waits"):
        begin_issue_run(officer)
    meeting(company, 1)
    begin_issue_run(officer)

    with pytest.raises(Conflict, match="are being issued"):
        begin_issue_run(officer)


def test_the_newest_run_is_listed_first(client, company, officer, drawn_plainly):
    (scene,) = meeting(company, 1)
    references = [scene.job.reference]
    first, second = (walk(begin_issue_run(officer, references=references)) for _ in range(2))
    client.force_login(officer)

    runs = client.get(reverse("issue_runs")).context["runs"]

    assert [run.pk for run in runs] == [second.pk, first.pk]


def test_a_strange_reference_is_named(company, officer):
    (stranger,) = meeting(CompanyFactory(), 1)

    with pytest.raises(Refused, match=f"Not a job of your company: {stranger.job.reference}, X-1"):
        begin_issue_run(officer, references=[stranger.job.reference, "X-1"])


def test_a_run_whose_task_was_lost_is_taken_up_by_the_beat(company, officer, drawn_plainly):
    meeting(company, 1)
    run = begin_issue_run(officer)
    assert not left_behind(timezone.now())
    IssueRun.objects.filter(pk=run.pk).update(moved_at=timezone.now() - timedelta(minutes=6))

    assert tasks.look_after_issue_runs() == 1

    run.refresh_from_db()
    assert run.ended_at is not None


def test_the_beat_leaves_to_a_run_what_is_the_runs(company, officer):
    meeting(company, 1)
    run = begin_issue_run(officer)
    (alone,) = meeting(company, 1)

    assert list(left_to_certify()) == [alone.job.pk]

    stop_run(run)
    move_on(run.pk)
    assert left_to_certify().count() == 2


def test_the_pages_begin_it_show_its_progress_and_its_refusals(
    client, company, officer, drawn_plainly, django_capture_on_commit_callbacks
):
    (scene,) = meeting(company, 1)
    unproven = bare(company=company)
    assess_job(unproven.job.pk)
    client.force_login(officer)

    client.post(reverse("issue_runs"), {})
    run = IssueRun.objects.get()
    under_way = client.get(reverse("issue_run", args=[run.pk])).content.decode()
    assert '<progress max="2" value="0"' in under_way
    assert 'hx-get="' + reverse("issue_run_progress", args=[run.pk]) in under_way
    client.post(reverse("issue_run_stop", args=[run.pk]))
    walk(run)
    assert "Go on" in client.get(reverse("issue_run", args=[run.pk])).content.decode()
    with django_capture_on_commit_callbacks(execute=True):
        client.post(reverse("issue_run_go_on", args=[run.pk]))

    done = client.get(reverse("issue_run", args=[run.pk])).content.decode()
    assert client.get(reverse("issue_run_progress", args=[run.pk]))["HX-Refresh"] == "true"
    assert unproven.job.reference in done
    assert "The handover is not signed." in done
    assert Job.objects.get(pk=scene.job.pk).stage == "certified"


def test_the_api_begins_stops_and_tells_the_refusals(company, officer, drawn_plainly):
    from rest_framework.test import APIClient

    unproven = bare(company=company)
    assess_job(unproven.job.pk)
    client = APIClient()
    client.force_authenticate(officer)

    run = client.post("/api/v1/issue-runs/", {"references": [unproven.job.reference]}).json()
    walk(IssueRun.objects.get(pk=run["id"]))

    address = f"/api/v1/issue-runs/{run['id']}/"
    assert client.get(address).json()["counts"] == {"refused": 1, "total": 1, "done": 1}
    assert client.get(address + "refused/").json()[0]["job"] == unproven.job.pk
    assert client.post(address + "go-on/").status_code == 409
    assert client.post("/api/v1/issue-runs/", {"references": ["J-1x"]}).status_code == 400
