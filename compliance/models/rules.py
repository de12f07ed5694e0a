"""Depth rules: what a nation asks of a loft from a date on."""

from __future__ import annotations

from datetime import date

import pghistory
import pgtrigger
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from jobs.models import Nation, User


class DepthRuleQuerySet(models.QuerySet["DepthRule"]):
    def in_force(self, nation: str, on: date) -> DepthRuleQuerySet:
        """Approved rules of a nation that have begun by `on`, the newest first."""
        return self.filter(nation=nation, starts_on__lte=on, approved_at__isnull=False).order_by(
            "-starts_on", "-id"
        )


@pghistory.track()
class DepthRule(models.Model):
    """Minimum depth and the evidence that proves it. Never edited once it was used."""

    class SourceKind(models.TextChoices):
        PUBLISHED = "published", "Published"
        COMMON_PRACTICE = "common_practice", "Common practice, no published source"

    nation = models.CharField(max_length=20, choices=Nation)
    starts_on = models.DateField()
    min_depth_mm = models.FloatField(validators=[MinValueValidator(50), MaxValueValidator(1000)])
    conductivity_w_mk = models.FloatField(
        default=0.044, help_text="The conductivity the depth is stated for."
    )
    greatest_u_value_w_m2k = models.FloatField(
        null=True,
        blank=True,
        validators=[MinValueValidator(0.05), MaxValueValidator(1.0)],
        help_text="Where the regulation knows a U-value route: what the wool laid needs for it, "
        "by ISO 6946, is then deep enough.",
    )
    m2_per_reading = models.FloatField(default=5.0, validators=[MinValueValidator(0.5)])
    least_readings_per_area = models.PositiveSmallIntegerField(default=4)
    least_before_photos = models.PositiveSmallIntegerField(default=2)
    least_after_photos = models.PositiveSmallIntegerField(default=2)
    photos_at_points = models.BooleanField(
        default=False,
        help_text="A photo before and one after at each photo point of the drawing.",
    )
    source = models.CharField(max_length=300)
    source_kind = models.CharField(max_length=16, choices=SourceKind)
    proposed_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    approved_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    approved_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    objects = DepthRuleQuerySet.as_manager()

    class Meta:
        ordering = ["nation", "-starts_on"]
        constraints = [
            models.UniqueConstraint(
                fields=["nation", "starts_on"],
                name="depth_rule_one_a_nation_and_day",
                violation_error_message="This nation already has a rule from that day.",
            ),
            models.CheckConstraint(
                condition=models.Q(approved_by__isnull=True)
                | models.Q(proposed_by__isnull=True)
                | ~models.Q(approved_by=models.F("proposed_by")),
                name="depth_rule_second_person_approves",
                violation_error_message="A second person approves a rule, not its proposer.",
            ),
        ]
        triggers = [
            pgtrigger.Trigger(
                name="used_depth_rule_is_kept",
                when=pgtrigger.Before,
                operation=pgtrigger.Update | pgtrigger.Delete,
                func="""
                    IF EXISTS (SELECT 1 FROM compliance_assessment WHERE rule_id = OLD.id) THEN
                        RAISE EXCEPTION 'A depth rule that was used is never changed. '
                            'Propose a new rule from a later date.'
                            USING ERRCODE = 'restrict_violation';
                    END IF;
                    IF TG_OP = 'DELETE' THEN RETURN OLD; END IF;
                    RETURN NEW;
                """,
            ),
            pgtrigger.Trigger(
                name="depth_rule_approved_with_open_eyes",
                when=pgtrigger.Before,
                operation=pgtrigger.Update,
                condition=pgtrigger.Q(
                    old__approved_at__isnull=True, new__approved_at__isnull=False
                ),
                func="""
                    IF NOT EXISTS (
                        SELECT 1 FROM compliance_previewseen s
                        JOIN compliance_rulerun r ON r.id = s.run_id
                        WHERE r.rule_id = NEW.id AND r.kind = 'preview'
                          AND r.ended_at IS NOT NULL AND s.person_id = NEW.approved_by_id
                    ) THEN
                        RAISE EXCEPTION 'Whoever approves a rule has looked first at what it '
                            'would change.' USING ERRCODE = 'restrict_violation';
                    END IF;
                    RETURN NEW;
                """,
            ),
        ]

    def __str__(self) -> str:
        return (
            f"{self.get_nation_display()} {self.min_depth_mm:.0f} mm "
            f"from {self.starts_on:%-d %b %Y}"
        )
