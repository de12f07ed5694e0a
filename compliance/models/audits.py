"""Audit rounds: a sealed population, a fair draw, and what was found."""

from __future__ import annotations

from typing import Any, Self

import pghistory
from django.contrib.postgres.fields import ArrayField
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils import timezone

from compliance.models import audit_triggers
from compliance.models.ledger import Seal
from jobs.models import Company, Crew, Job, Nation, Scheme, User
from jobs.models.evidence import kept_as_written


class RoundScopedQuerySet(models.QuerySet[Any]):
    """Auditors see their scheme's rounds. Companies see what was released to them."""

    scheme_path = "scheme_id"

    def visible_to(self, user: User | Any) -> Self:
        if getattr(user, "role", None) == "auditor":
            return self.filter(**{self.scheme_path: user.scheme_id})
        return self.none()


class AuditRoundQuerySet(RoundScopedQuerySet):
    def shown_to_company(self, company_id: int | None) -> Self:
        """Rounds that drew jobs of a company: how they were drawn is no secret from it."""
        mine = DrawnJob.objects.filter(round=models.OuterRef("pk"), job__company=company_id)
        return self.filter(models.Exists(mine))

    def with_progress(self) -> Self:
        """Each round with `drawn_count` and `read_count`, and its company."""
        rounds = self.order_by("-pk").select_related("company", "crew", "auditor")
        return rounds.annotate(
            drawn_count=models.Count("drawn_jobs", distinct=True),
            read_count=models.Count(
                "drawn_jobs",
                filter=models.Q(drawn_jobs__findings__isnull=False),
                distinct=True,
            ),
        )


@pghistory.track()
class AuditRound(models.Model):
    """One audit of a scheme's jobs of a period: population, plan, draw, outcome."""

    class State(models.TextChoices):
        COMMITTED = "committed", "Committed"
        SEALED = "sealed", "Population sealed"
        DRAWN = "drawn", "Drawn"
        CLOSED = "closed", "Closed"
        GIVEN_UP = "given_up", "Given up without a draw"

    class Plan(models.TextChoices):
        ACCEPTANCE = "acceptance", "Acceptance sampling, ISO 2859-1"
        CONFIDENCE = "confidence", "Confidence about the share of defective jobs"

    class StrataBy(models.TextChoices):
        NOTHING = "", "One draw over all jobs"
        CREW = "crew", "Crew"
        COMPANY = "company", "Company"
        NATION = "nation", "Nation"
        POSTCODE_AREA = "postcode_area", "Postcode area"
        KIND = "kind", "Finished at once, or after a call-back"

    class Allocation(models.TextChoices):
        PROPORTIONAL = "proportional", "By number of jobs"
        RISK = "risk", "By number of jobs and risk"

    scheme = models.ForeignKey(Scheme, on_delete=models.PROTECT, related_name="audit_rounds")
    company = models.ForeignKey(
        Company,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="audit_rounds",
        help_text="Only this company's jobs; empty for all of the scheme.",
    )
    crew = models.ForeignKey(
        Crew,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="audit_rounds",
        help_text="Only jobs that this crew fitted; empty for all crews.",
    )
    nation = models.CharField(max_length=20, choices=Nation, blank=True)
    postcode_areas = ArrayField(
        models.CharField(max_length=3),
        default=list,
        blank=True,
        help_text="Only homes whose postcodes begin so, such as LE; empty for all.",
    )
    auditor = models.ForeignKey(User, on_delete=models.PROTECT, related_name="audit_rounds")
    name = models.CharField(max_length=80)
    period_from = models.DateField()
    period_to = models.DateField()
    plan = models.CharField(max_length=12, choices=Plan, default=Plan.ACCEPTANCE)
    level = models.CharField(
        max_length=3, default="II", choices=[("I", "I"), ("II", "II"), ("III", "III")]
    )
    severity = models.CharField(
        max_length=10,
        default="normal",
        choices=[("normal", "Normal"), ("tightened", "Tightened"), ("reduced", "Reduced")],
    )
    severity_reason = models.CharField(
        max_length=300, blank=True, help_text="Why it is inspected so, by the switching rules."
    )
    strata_by = models.CharField(max_length=14, choices=StrataBy, default="", blank=True)
    allocation = models.CharField(
        max_length=12, choices=Allocation, default=Allocation.PROPORTIONAL
    )
    aql = models.FloatField(default=4.0, help_text="Acceptable quality limit, per cent.")
    confidence = models.FloatField(
        default=0.95, validators=[MinValueValidator(0.5), MaxValueValidator(0.999)]
    )
    defective_share = models.FloatField(
        default=0.1, validators=[MinValueValidator(0.001), MaxValueValidator(0.9)]
    )
    nonce_commitment = models.CharField(
        max_length=64, help_text="SHA-256 of the auditor's nonce, given before the Seal."
    )
    nonce_hex = models.CharField(max_length=128, blank=True, help_text="Revealed at the draw.")
    seal = models.ForeignKey(
        Seal, null=True, blank=True, on_delete=models.PROTECT, related_name="audit_rounds"
    )
    population_size = models.PositiveIntegerField(default=0)
    population_sha256 = models.CharField(max_length=64, blank=True)
    sample_size = models.PositiveIntegerField(default=0)
    accept_at_most = models.PositiveIntegerField(default=0)
    state = models.CharField(max_length=10, choices=State, default=State.COMMITTED)
    accepted = models.BooleanField(
        null=True, blank=True, help_text="The verdict by the plan, once the round is closed."
    )
    given_up_reason = models.CharField(max_length=300, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    drawn_at = models.DateTimeField(null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)

    objects = AuditRoundQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(period_to__gte=models.F("period_from")),
                name="audit_round_period",
                violation_error_message="period_to: a period cannot end before it begins.",
            ),
            models.CheckConstraint(
                condition=models.Q(allocation="proportional") | ~models.Q(strata_by=""),
                name="audit_round_risk_needs_strata",
                violation_error_message="strata_by: sharing out by risk needs strata.",
            ),
            models.UniqueConstraint(
                fields=["nonce_commitment"],
                name="audit_round_secret_serves_once",
                violation_error_message="nonce_commitment: a round was begun with this secret "
                "already. A draw shows its secret, so each serves one round: make another one.",
            ),
        ]
        triggers = [
            audit_triggers.MOVES,
            audit_triggers.NEVER_DELETED,
            audit_triggers.TERMS_STAND,
            audit_triggers.ROUND_BEGINS_COMMITTED,
            audit_triggers.ROUND_KEEPS_ITS_ORDER,
        ]

    def __str__(self) -> str:
        return self.name


class OfRoundQuerySet(RoundScopedQuerySet):
    scheme_path = "round__scheme_id"


class PopulationJob(models.Model):
    """A job of a round's sealed population, with all that the draw goes by.

    Stratum and risk are worked out before the Seal and hashed with it, so that neither side can
    change them once it knows more (`compliance.audits.strata`).
    """

    round = models.ForeignKey(AuditRound, on_delete=models.PROTECT, related_name="population")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="in_populations")
    crew = models.ForeignKey(
        Crew, null=True, blank=True, on_delete=models.PROTECT, related_name="in_populations"
    )
    stratum = models.CharField(max_length=130, blank=True)
    risk = models.FloatField(
        default=1.0, help_text="1 where nothing stands out; see `compliance.audits.strata`."
    )
    risk_reasons = models.JSONField(default=list, help_text="Sentences: what raised the risk.")

    objects = OfRoundQuerySet.as_manager()

    class Meta:
        ordering = ["round_id", "job_id"]
        constraints = [
            models.UniqueConstraint(fields=["round", "job"], name="population_job_once_a_round")
        ]
        triggers = [
            *kept_as_written("population_is_kept"),
            audit_triggers.POPULATION_BEFORE_ITS_SEAL,
        ]


class PopulationSeal(models.Model):
    """What a round's population was when it was sealed: a fact, so it stands in the ledger."""

    round = models.OneToOneField(
        AuditRound, on_delete=models.PROTECT, related_name="population_seal"
    )
    size = models.PositiveIntegerField()
    sha256 = models.CharField(
        max_length=64, help_text="Of the population's file, one job a line, in order."
    )
    nonce_commitment = models.CharField(max_length=64)
    terms = models.JSONField(default=dict, help_text="The round's terms, as they were committed.")
    strata = models.JSONField(
        default=list,
        help_text="By stratum: its jobs, the sum of their risk, and how many are drawn.",
    )
    sealed_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = OfRoundQuerySet.as_manager()

    class Meta:
        triggers = [
            *kept_as_written("population_seal_is_kept"),
            audit_triggers.POPULATION_SEAL_IS_OF_ITS_ROUND,
        ]

    def __str__(self) -> str:
        return f"{self.size} jobs of {self.round}"


class AuditWidening(models.Model):
    """A further draw from the same sealed population, going on where the sample ended."""

    round = models.ForeignKey(AuditRound, on_delete=models.PROTECT, related_name="widenings")
    number = models.PositiveSmallIntegerField(help_text="1 for a round's first widening.")
    size_before = models.PositiveIntegerField()
    size_after = models.PositiveIntegerField()
    strata = models.JSONField(
        default=list, help_text="By stratum: its jobs, and how many are drawn of it in all."
    )
    reason = models.CharField(max_length=600)
    asked_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = OfRoundQuerySet.as_manager()

    class Meta:
        ordering = ["round_id", "number"]
        constraints = [
            models.UniqueConstraint(fields=["round", "number"], name="widening_number_once"),
            models.CheckConstraint(
                condition=~models.Q(reason=""),
                name="widening_has_reason",
                violation_error_message="reason: say why more jobs are drawn.",
            ),
        ]
        triggers = [*kept_as_written("widening_is_kept"), audit_triggers.WIDENED_BY_RULE]

    def __str__(self) -> str:
        return f"Widening {self.number} of {self.round}"


class DrawnJobQuerySet(OfRoundQuerySet):
    def with_findings(self) -> Self:
        return self.select_related("job__property", "job__company").prefetch_related("findings")


class DrawnJob(models.Model):
    """A job of a round's sample, in the order drawn."""

    round = models.ForeignKey(AuditRound, on_delete=models.PROTECT, related_name="drawn_jobs")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="draws")
    draw_order = models.PositiveIntegerField()
    stratum = models.CharField(max_length=130, blank=True)
    weight = models.FloatField(
        default=1.0,
        help_text="Jobs of the population it stood for when drawn: one over its chance to be "
        "drawn. After a widening see `compliance.audits.strata.weights_of`.",
    )
    widening = models.ForeignKey(
        AuditWidening,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="drawn_jobs",
        help_text="Empty for the sample that the plan asked for.",
    )

    objects = DrawnJobQuerySet.as_manager()

    class Meta:
        ordering = ["round_id", "draw_order"]
        constraints = [
            models.UniqueConstraint(fields=["round", "job"], name="drawn_job_once_a_round"),
            models.UniqueConstraint(fields=["round", "draw_order"], name="draw_order_once"),
        ]
        triggers = [*kept_as_written("draw_is_kept"), audit_triggers.DRAWN_FROM_THE_POPULATION]
