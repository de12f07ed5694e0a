from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path

urlpatterns: list[URLPattern | URLResolver] = [
    path("", include("compliance.pages.proof")),
    path("", include("compliance.pages.proof_job")),
    path("", include("compliance.pages.waivers")),
    path("", include("compliance.pages.rules")),
    path("", include("compliance.pages.rule_effects")),
    path("", include("compliance.pages.ledger")),
    path("", include("compliance.pages.ledger_files")),
    path("", include("compliance.pages.packs")),
    path("", include("compliance.pages.certificate_files")),
    path("", include("compliance.pages.issue_runs")),
    path("", include("compliance.pages.certificates")),
    path("", include("compliance.pages.check")),
    path("", include("compliance.pages.personal")),
    path("", include("compliance.pages.openings")),
    path("", include("compliance.pages.retention")),
    path("", include("compliance.pages.edits")),
    path("", include("compliance.pages.rerun")),
    path("", include("compliance.pages.shortfall_due")),
    path("", include("compliance.pages.audits")),
    path("", include("compliance.pages.audit_round_acts")),
    path("", include("compliance.pages.follow_ups")),
    path("", include("compliance.pages.audit_reading")),
    path("", include("compliance.pages.audit_sheet")),
    path("", include("compliance.pages.audit_remeasuring")),
    path("", include("compliance.pages.audit_openings")),
    path("", include("compliance.pages.audit_pictures")),
    path("", include("compliance.pages.audit_files")),
    path("", include("compliance.pages.findings")),
]
