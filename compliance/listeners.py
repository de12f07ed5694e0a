"""What compliance does when jobs announces something. `jobs` never imports compliance."""

from __future__ import annotations


def connect() -> None:
    """Join the announcements of `jobs`. Called once, when the app is ready."""
