"""The visit as it goes: arriving, each step of the work, what differs from the plan, stopping,
leaving. Facts, written once; a correction is a new row that names the one it `replaces`.
"""

from __future__ import annotations

import uuid

from django.contrib.postgres.fields import ArrayField
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils import timezone

from jobs.models.evidence import EvidenceQuerySet, Photo
from jobs.models.people import User
from jobs.models.phone_records import (
    ERASED,
    ByPhoneClock,
    Salted,
    WithPosition,
    WordsHashed,
    corrected_from,
    frozen_once_stopped,
    kept_but_for_erasure,
    position_constraints,
)
from jobs.models.surveys import LoftArea
from jobs.models.visits import Visit


class SiteFact(ByPhoneClock):
    """What the records of this module share."""

    recorded_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    received_at = models.DateTimeField(default=timezone.now, editable=False)
    client_key = models.UUIDField(default=uuid.uuid4, unique=True)

    class Meta:
        abstract = True


class Arrival(WithPosition, WordsHashed, SiteFact):
    """The crew is at the door: who came, who let them in, whether the loft is empty and safe."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="arrivals")
    operative_ids = ArrayField(models.BigIntegerField(), help_text="Who came, as Operatives.")
    let_in_by = models.CharField(max_length=120)
    loft_ready = models.BooleanField(help_text="Empty, lit and safe to get into.")
    note = models.CharField(max_length=300, blank=True)
    arrived_at = models.DateTimeField(help_text="By the phone's clock.")
    corrected_at = corrected_from("arrived_at")
    replaces = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by"
    )

    objects = EvidenceQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            *position_constraints("arrival"),
            models.CheckConstraint(
                condition=models.Q(loft_ready=True) | ~models.Q(note=""),
                name="arrival_loft_not_ready_says_why",
                violation_error_message="note: say what keeps the loft from being ready.",
            ),
        ]
        triggers = [
            *kept_but_for_erasure(
                "arrival_is_kept",
                words=["note"],
                let_in_by=f"'{ERASED}'",
                latitude_deg="NULL",
                longitude_deg="NULL",
                words_hashed="true",
            ),
            frozen_once_stopped("arrival_frozen"),
        ]


class WorkStep(Salted, WordsHashed, SiteFact):
    """One step of laying, as the crew says it went. `answers`: point code -> yes/no/n-a."""

    class Kind(models.TextChoices):
        EAVES = "eaves", "Eaves"
        FIRST_LAYER = "first_layer", "First layer"
        CROSS_LAYERS = "cross_layers", "Cross layers"
        HATCH_AND_TANK = "hatch_and_tank", "Hatch and tank"

    class Outcome(models.TextChoices):
        DONE = "done", "Done"
        NOT_NEEDED = "not_needed", "Not needed on this visit"
        NOT_DONE = "not_done", "Left undone"

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="work_steps")
    step = models.CharField(max_length=16, choices=Kind)
    outcome = models.CharField(max_length=12, choices=Outcome)
    answers = models.JSONField(default=dict)
    note = models.CharField(max_length=300, blank=True)
    done_at = models.DateTimeField(help_text="By the phone's clock.")
    corrected_at = corrected_from("done_at")
    replaces = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by"
    )

    objects = EvidenceQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(outcome="not_done") | ~models.Q(note=""),
                name="work_step_left_undone_says_why",
                violation_error_message="note: say why it is left undone.",
            )
        ]
        triggers = [
            *kept_but_for_erasure("work_step_is_kept", words=["note"], words_hashed="true"),
            frozen_once_stopped("work_step_frozen"),
        ]


class VariationQuerySet(EvidenceQuerySet):
    def with_photo(self) -> VariationQuerySet:
        """Each with `photo_pk`, the photo of the same job that it names, once it has arrived."""
        photos = Photo.objects.filter(
            client_key=models.OuterRef("photo_key"), job=models.OuterRef("visit__job")
        )
        return self.select_related("area").annotate(photo_pk=models.Subquery(photos.values("pk")))


class Variation(Salted, WordsHashed, SiteFact):
    """Where the work differs from its plan, why, and what that means for the loft."""

    class Kind(models.TextChoices):
        NOT_REACHED = "not_reached", "Part of the loft can’t be reached"
        OTHER_ROLL = "other_roll", "Another roll was laid than planned"
        DECK_FOUND = "deck_found", "A deck or boards not surveyed"
        DEPTH_REDUCED = "depth_reduced", "Less depth than planned"
        OBSTACLE_FOUND = "obstacle_found", "A tank, pipe or fixture not surveyed"
        OTHER = "other", "Something else"

    class Meaning(models.TextChoices):
        LESS_DEPTH = "less_depth", "It lies thinner there"
        LEFT_OUT = "left_out", "That part is not insulated"
        SAME_DEPTH = "same_depth", "The depth is as planned all the same"
        MORE_WORK = "more_work", "Somebody has to come back for it"

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="variations")
    kind = models.CharField(max_length=16, choices=Kind)
    meaning = models.CharField(max_length=12, choices=Meaning)
    reason = models.CharField(max_length=300)
    area = models.ForeignKey(
        LoftArea, null=True, blank=True, on_delete=models.PROTECT, related_name="variations"
    )
    depth_mm = models.FloatField(
        null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(1500)]
    )
    photo_key = models.UUIDField(
        null=True, blank=True, help_text="The client_key of a Photo; it may arrive later."
    )
    found_at = models.DateTimeField(help_text="By the phone's clock.")
    corrected_at = corrected_from("found_at")
    replaces = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by"
    )

    objects = VariationQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(reason=""),
                name="variation_has_reason",
                violation_error_message="reason: say why the work differs from its plan.",
            ),
            models.CheckConstraint(
                condition=models.Q(depth_mm__isnull=True) | models.Q(depth_mm__range=(0, 1500)),
                name="variation_depth_0_to_1500_mm",
                violation_error_message="depth_mm: a depth lies between 0 and 1500 mm.",
            ),
        ]
        triggers = [
            *kept_but_for_erasure("variation_is_kept", words=["reason"], words_hashed="true"),
            frozen_once_stopped("variation_frozen"),
        ]


class StopWork(Salted, WordsHashed, SiteFact):
    """The work stops here: what was found, and whom the crew was told to call."""

    visit = models.OneToOneField(Visit, on_delete=models.PROTECT, related_name="stop_work")
    found = ArrayField(
        models.CharField(max_length=40), default=list, help_text="Codes of pre-start questions."
    )
    reason = models.CharField(max_length=300)
    to_call = models.CharField(max_length=300, blank=True)
    stopped_at = models.DateTimeField(help_text="By the phone's clock.")
    corrected_at = corrected_from("stopped_at")

    objects = EvidenceQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(reason=""),
                name="stop_work_has_reason",
                violation_error_message="reason: say why the work was stopped.",
            )
        ]
        triggers = kept_but_for_erasure("stop_work_is_kept", words=["reason"], words_hashed="true")


class StopNotice(models.Model):
    """The office was told by mail that work was stopped. No fact: a note that it was done."""

    stop = models.OneToOneField(StopWork, on_delete=models.PROTECT, related_name="notice")
    told = ArrayField(models.EmailField())
    told_at = models.DateTimeField(default=timezone.now)


class Leave(WithPosition, WordsHashed, SiteFact):
    """The crew leaves the home: the loft closed, nothing left behind."""

    class Because(models.TextChoices):
        HANDED_OVER = "handed_over", "Handed over"
        ANOTHER_DAY = "another_day", "The job goes on another day"
        STOPPED = "stopped", "The work was stopped"

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="leaves")
    because = models.CharField(max_length=12, choices=Because)
    loft_closed = models.BooleanField(help_text="Hatch shut and draught-sealed.")
    site_clear = models.BooleanField(help_text="Offcuts, packaging and tools are in the van.")
    note = models.CharField(max_length=300, blank=True)
    left_at = models.DateTimeField(help_text="By the phone's clock.")
    corrected_at = corrected_from("left_at")
    replaces = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by"
    )

    objects = EvidenceQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            *position_constraints("leave"),
            models.CheckConstraint(
                condition=models.Q(loft_closed=True, site_clear=True) | ~models.Q(note=""),
                name="leave_not_in_order_says_why",
                violation_error_message="note: say what is left open or left behind, and why.",
            ),
        ]
        triggers = kept_but_for_erasure(
            "leave_is_kept",
            words=["note"],
            latitude_deg="NULL",
            longitude_deg="NULL",
            words_hashed="true",
        )
