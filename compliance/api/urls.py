from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path

urlpatterns: list[URLPattern | URLResolver] = [
    path("", include("compliance.api.depth_rules")),
    path("", include("compliance.api.assessments")),
    path("", include("compliance.api.shortfalls")),
    path("", include("compliance.api.waivers")),
    path("", include("compliance.api.certificates")),
    path("", include("compliance.api.issue_runs")),
    path("", include("compliance.api.ledger")),
    path("", include("compliance.api.packs")),
    path("", include("compliance.api.personal")),
    path("", include("compliance.api.audit_reading")),
    path("", include("compliance.api.audits")),
    path("", include("compliance.api.audit_sheet")),
    path("", include("compliance.api.audit_files")),
    path("", include("compliance.api.audit_follow_ups")),
    path("", include("compliance.api.exchanges")),
]
