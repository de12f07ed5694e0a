from __future__ import annotations

from django.apps import AppConfig


class JobsConfig(AppConfig):
    name = "jobs"
    verbose_name = "Jobs: properties, surveys, crews, visits, evidence"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from jobs.pages.form_words import set_form_words
        from jobs.pages.registrations import register_all
        from jobs.planning import listeners
        from jobs.platform import tokens

        listeners.connect()
        tokens.connect()
        register_all()
        set_form_words()
