"""Everything under /api/v1/."""

from __future__ import annotations

from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView

urlpatterns = [
    path("schema/", SpectacularAPIView.as_view(), name="api_schema"),
    path("", include("jobs.api.urls")),
    path("", include("compliance.api.urls")),
]
