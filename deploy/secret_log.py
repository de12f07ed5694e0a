"""Secrets at the end of addresses, kept out of what others log too.

Django logs the path of what it refuses: a calendar that is asked for too often, a form without
its token, a fault of ours.
"""

from __future__ import annotations

import logging

from jobs.secret_paths import without_secrets


class SecretPathFilter(logging.Filter):
    """Cut the secret off every address of ours in a log line."""

    def filter(self, record: logging.LogRecord) -> bool:
        said = record.getMessage()
        shown = without_secrets(said)
        if shown != said:
            record.msg, record.args = shown, ()
        return True
