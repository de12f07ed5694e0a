"""Everything under /api/v1/."""

from __future__ import annotations

from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView

from deploy.api_docs import OnceAProcess, api_docs

urlpatterns = [
    path("schema/", SpectacularAPIView.as_view(generator_class=OnceAProcess), name="api_schema"),
    path("docs/", api_docs, name="api_docs"),
    path("", include("jobs.api.urls")),
    path("", include("compliance.api.urls")),
]
