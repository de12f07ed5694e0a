from __future__ import annotations

from django.apps import AppConfig


class ComplianceConfig(AppConfig):
    name = "compliance"
    verbose_name = "Compliance: rules, assessments, certificates, ledger, audits"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from django.core.checks import register

        from compliance import call_back_needs, listeners, rules
        from compliance.audits import access
        from compliance.certificates.key_checks import check_signing_key
        from compliance.pages.registrations import register_all

        listeners.connect()
        rules.offer_targets()
        call_back_needs.offer_call_back_needs()
        access.offer_audited_jobs()
        register_all()
        register(check_signing_key)
