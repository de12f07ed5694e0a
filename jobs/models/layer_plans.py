"""What is laid where, as the engine worked it out from one survey."""

from __future__ import annotations

import pgtrigger
from django.db import models

from jobs.managers import JobScopedQuerySet
from jobs.models.jobs import Job
from jobs.models.surveys import Survey


class LayerPlan(models.Model):
    """Layers, strips, rolls, accessories, crew-hours and U-values of one job.

    `quantities` is `calculations.quantities.Quantities.to_dict()` and, as `catalogue`, the roll
    types that could be chosen from (`jobs.catalogues`). A new survey or target, or other roll
    types, make a new plan; an old one stays as it was.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="layer_plans")
    survey = models.ForeignKey(Survey, on_delete=models.PROTECT, related_name="layer_plans")
    made_at = models.DateTimeField(auto_now_add=True)
    engine_version = models.CharField(max_length=20)
    target_depth_mm = models.FloatField()
    target_source = models.CharField(max_length=200)
    quantities = models.JSONField()
    net_area_m2 = models.FloatField()
    roll_count = models.PositiveIntegerField()
    packed_volume_m3 = models.FloatField()
    crew_hours = models.FloatField()
    u_before_w_m2k = models.FloatField()
    u_after_w_m2k = models.FloatField()

    objects = JobScopedQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        triggers = [
            pgtrigger.Protect(
                name="layer_plan_is_kept", operation=pgtrigger.Update | pgtrigger.Delete
            )
        ]

    def __str__(self) -> str:
        return f"Layer plan of {self.job_id} to {self.target_depth_mm:.0f} mm"
