"""Every address of the service."""

from __future__ import annotations

from django.urls import include, path

from deploy.health import health

urlpatterns = [
    path("health/", health, name="health"),
    path("account/", include("deploy.accounts.urls")),
    path("api/v1/", include("deploy.api_urls")),
    path("", include("jobs.uploads.views")),
    path("", include("jobs.pages.urls")),
    path("", include("compliance.pages.urls")),
]

handler500 = "deploy.server_errors.server_error"
