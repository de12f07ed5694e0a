from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path

urlpatterns: list[URLPattern | URLResolver] = [
    path("", include("jobs.pages.navigation")),
    path("", include("jobs.pages.desk")),
    path("", include("jobs.pages.job")),
    path("", include("jobs.pages.properties")),
    path("", include("jobs.pages.intake")),
    path("", include("jobs.pages.crews")),
    path("", include("jobs.pages.absences")),
    path("", include("jobs.pages.visits")),
    path("", include("jobs.pages.visit_needs")),
    path("", include("jobs.pages.planning")),
    path("", include("jobs.pages.planning_moves")),
    path("", include("jobs.pages.planning_runs")),
    path("", include("jobs.pages.planning_replan")),
    path("", include("jobs.pages.surveys")),
    path("", include("jobs.pages.layer_plans")),
    path("", include("jobs.pages.loading")),
    path("", include("jobs.pages.depots")),
    path("", include("jobs.pages.stock")),
    path("", include("jobs.pages.rounds")),
    path("", include("jobs.pages.calendars")),
    path("", include("jobs.pages.on_site")),
    path("", include("jobs.pages.on_site_phone")),
    path("", include("jobs.pages.on_site_work")),
    path("", include("jobs.pages.compare")),
    path("", include("jobs.pages.photos")),
    path("", include("jobs.pages.platform")),
    path("", include("jobs.pages.people")),
    path("", include("jobs.pages.edits")),
]
