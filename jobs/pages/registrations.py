"""What `jobs` adds to the pages everybody shares. Each area registers itself; this lists them."""

from __future__ import annotations

from importlib import import_module

AREAS = (
    "jobs.pages.desk_parts",
    "jobs.pages.depot_parts",
    "jobs.pages.job_parts",
    "jobs.pages.visit_needs",
    "jobs.pages.survey_story",
    "jobs.pages.evidence_story",
    "jobs.pages.site_story",
    "jobs.pages.platform_parts",
)


def register_all() -> None:
    """Called once, when the app is ready."""
    for area in AREAS:
        import_module(area).register()
