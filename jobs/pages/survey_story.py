"""The survey and the layers as parts of a job's story."""

from __future__ import annotations

from typing import Any

from jobs.catalogues import was_invented
from jobs.errors import Refused
from jobs.models import Job, Role, Stage, User
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
from jobs.targets import depth_target


def survey_section(job: Job, user: User) -> dict[str, Any] | None:
    survey = current_survey(job)
    if survey is None:
        return None
    return {"survey": survey, "sketch": sketch_of_stored(survey)}


def layers_section(job: Job, user: User) -> dict[str, Any] | None:
    plan = current_layer_plan(job)
    waiting = job.stage == Stage.TO_QUANTIFY
    if plan is None and not waiting:
        return None
    return {
        "plan": plan,
        "sheet": layer_sheet(plan) if plan else None,
        "invented": plan is not None and was_invented(plan),
        "waiting": waiting,
        "hindrance": _hindrance(job) if waiting else "",
        "may_quantify": user.role in (Role.PLANNER, Role.SURVEYOR),
    }


def _hindrance(job: Job) -> str:
    """What keeps the layers from being worked out, in words; mostly nothing."""
    try:
        depth_target(job)
    except Refused as refusal:
        return str(refusal)
    return ""


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
