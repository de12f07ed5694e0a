"""What the beat starts, and when. Times are in the project's time zone, Europe/London."""

from __future__ import annotations

from typing import Any

from celery.schedules import crontab

# Runs whose planner died are looked for this often [s]; `jobs/planning/runs.py` counts on it.
MINDED_EVERY_S = 5

BEAT_SCHEDULE: dict[str, dict[str, Any]] = {
    "clear-expired-sessions": {
        "task": "deploy.tasks.clear_expired_sessions",
        "schedule": crontab(hour=3, minute=40),
    },
    "keep-retention-periods": {
        "task": "compliance.tasks.keep_retention_periods",
        "schedule": crontab(hour=2, minute=20),
    },
    "remove-erased-bytes": {
        "task": "compliance.tasks.remove_erased_bytes",
        "schedule": crontab(minute=50),
    },
    "inspect-waiting-photos": {
        "task": "jobs.tasks.inspect_waiting_photos",
        "schedule": crontab(minute="*/10"),
    },
    "inspect-waiting-answers": {
        "task": "compliance.tasks.inspect_waiting_answers",
        "schedule": crontab(minute="*/10"),
    },
    "clear-expired-uploads": {
        "task": "jobs.tasks.clear_expired_uploads",
        "schedule": crontab(minute=25),
    },
    "resume-intake": {
        "task": "jobs.tasks.resume_intake",
        "schedule": crontab(minute="*/5"),
    },
    "quantify-waiting-jobs": {
        "task": "jobs.tasks.quantify_waiting_jobs",
        "schedule": crontab(minute="*/10"),
    },
    "tell-office-of-untold-stops": {
        "task": "jobs.tasks.tell_office_of_untold_stops",
        "schedule": crontab(minute="*/5"),
    },
    "catch-up-needs": {
        "task": "jobs.planning.tasks.catch_up_needs",
        "schedule": crontab(minute="*/5"),
    },
    "mind-plan-runs": {
        "task": "jobs.planning.tasks.mind_plan_runs",
        "schedule": float(MINDED_EVERY_S),
        # Where no worker takes them, they do not pile up.
        "options": {"expires": 2 * MINDED_EVERY_S},
    },
    "seal-ledger": {
        "task": "compliance.tasks.seal_ledger",
        "schedule": crontab(minute="*/5"),
    },
    "assess-and-certify-what-was-left": {
        "task": "compliance.tasks.catch_up",
        "schedule": crontab(minute="*/5"),
    },
    "look-after-depth-rules": {
        "task": "compliance.tasks.look_after_rules",
        "schedule": crontab(minute="*/10"),
    },
    "look-after-issue-runs": {
        "task": "compliance.tasks.look_after_issue_runs",
        "schedule": crontab(minute="*/5"),
    },
    "remind-of-answers-to-auditors": {
        "task": "compliance.tasks.remind_of_answers",
        "schedule": crontab(hour=7, minute=15),
    },
    "chase-late-shortfalls": {
        "task": "compliance.tasks.chase_late_shortfalls",
        "schedule": crontab(hour=7, minute=10),
    },
}
