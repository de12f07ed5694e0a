from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path

urlpatterns: list[URLPattern | URLResolver] = [
    path("", include("jobs.api.token")),
    path("", include("jobs.api.companies")),
    path("", include("jobs.api.schemes")),
    path("", include("jobs.api.people")),
    path("", include("jobs.api.properties")),
    path("", include("jobs.api.jobs")),
    path("", include("jobs.api.crews")),
    path("", include("jobs.api.calendars")),
    path("", include("jobs.api.visits")),
    path("", include("jobs.api.visit_needs")),
    path("", include("jobs.api.absences")),
    path("", include("jobs.api.plan_runs")),
    path("", include("jobs.api.office_prices")),
    path("", include("jobs.api.intake_batches")),
    path("", include("jobs.api.surveys")),
    path("", include("jobs.api.layer_plans")),
    path("", include("jobs.api.depots")),
    path("", include("jobs.api.stock")),
    path("", include("jobs.api.roll_types")),
    path("", include("jobs.api.loading")),
    path("", include("jobs.api.evidence")),
    path("", include("jobs.api.site_work")),
    path("", include("jobs.api.edits")),
]
