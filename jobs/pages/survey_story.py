"""The survey and the layers as parts of a job's story."""

from __future__ import annotations

from typing import Any

from jobs.models import Job, Role, User
from jobs.pages.registry import (
    NavigationItem,
    StorySection,
    register_home,
    register_navigation,
    register_story_section,
)
from jobs.surveying.layer_sheets import layer_sheet
from jobs.surveying.quantities import current_layer_plan, current_survey
from jobs.surveying.sketches import sketch_of_stored


def survey_section(job: Job, user: User) -> dict[str, Any] | None:
    survey = current_survey(job)
    if survey is None:
        return None
    return {"survey": survey, "sketch": sketch_of_stored(survey)}


def layers_section(job: Job, user: User) -> dict[str, Any] | None:
    plan = current_layer_plan(job)
    if plan is None:
        return None
    return {"plan": plan, "sheet": layer_sheet(plan)}


def register() -> None:
    """Join the shared pages. Called once, when the app is ready."""
    register_home(Role.SURVEYOR, "survey_home")
    register_navigation(
        NavigationItem(
            label="Survey",
            url_name="survey_home",
            roles=frozenset({Role.SURVEYOR, Role.PLANNER}),
            order=30,
        )
    )
    register_story_section(
        StorySection("survey", "Survey", 20, "jobs/story/survey.html", survey_section)
    )
    register_story_section(
        StorySection("layers", "Layers", 30, "jobs/story/layers.html", layers_section)
    )
