"""Celery tasks of planning. Each takes an id, calls one domain function; safe to run twice."""

from __future__ import annotations

from celery import shared_task

from jobs.planning import needs, page_drives, run_work, runs


@shared_task
def catch_up_needs() -> int:
    """Make, refresh and withdraw what jobs need where that was not done as they moved on."""
    return needs.catch_up_needs()


@shared_task
def run_plan(run_id: int) -> None:
    """Look for a plan that was asked for; a run that somebody else took up is left alone."""
    run_work.work_on(run_id)


@shared_task
def ask_for_drives(places: list[tuple[int, int]]) -> None:
    """Ask the road-routing server for drives that a page went without (1/10,000 deg)."""
    page_drives.ask_for_all([(latitude, longitude) for latitude, longitude in places])


@shared_task
def mind_plan_runs() -> None:
    """Send plan runs again whose process fell silent, or that no process ever took up."""
    for run_id in runs.mind_runs():
        run_plan.delay(run_id)
