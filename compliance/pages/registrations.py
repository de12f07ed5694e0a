"""What compliance adds to the pages everybody shares: each area of this list registers itself."""

from __future__ import annotations

from importlib import import_module

AREAS = (
    "compliance.pages.proof_parts",
    "compliance.pages.audit_parts",
    "compliance.pages.follow_ups",
    "compliance.pages.packs",
    "compliance.pages.waivers",
    "compliance.pages.personal",
    "compliance.pages.retention",
    "compliance.pages.edits",
)


def register_all() -> None:
    """Called once, when the app is ready."""
    for area in AREAS:
        import_module(area).register()
