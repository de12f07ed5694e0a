"""`migrate` renders no model again for a trigger, and knows the trigger all the same."""

from __future__ import annotations

import pgtrigger
from django.contrib.auth.models import Group
from django.core.management import get_commands
from django.db.migrations.state import ModelState, ProjectState
from pgtrigger.migrations import AddTrigger, RemoveTrigger

from deploy.management.commands.migrate import triggers_render_nothing


def test_a_trigger_is_known_to_the_state_but_nothing_is_rendered_again() -> None:
    state = ProjectState()
    state.add_model(ModelState("auth", "Group", [("id", Group._meta.pk.clone())]))
    rendered = state.apps.get_model("auth", "group")
    trigger = pgtrigger.Protect(name="kept", operation=pgtrigger.Delete)
    add, remove = AddTrigger("group", trigger), RemoveTrigger("group", "kept")

    with triggers_render_nothing():
        add.state_forwards("auth", state)
        assert state.models["auth", "group"].options["triggers"] == [trigger]
        remove.state_forwards("auth", state)

    assert state.models["auth", "group"].options["triggers"] == []
    assert state.apps.get_model("auth", "group") is rendered
    add.state_forwards("auth", state)
    assert state.apps.get_model("auth", "group") is not rendered


def test_it_is_what_migrates() -> None:
    assert get_commands()["migrate"] == "deploy"
