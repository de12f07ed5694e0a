"""What several views of a drawn job's page share: finding it, and what was found on it."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from compliance.audits.things import words_of
from compliance.models import DrawnJob, FindingDraft
from compliance.pages.finding_parts import told_findings


def drawn_at(request: HttpRequest, pk: int) -> DrawnJob:
    """The drawn job that this person may see, with what its page needs; 404 otherwise."""
    rows = DrawnJob.objects.visible_to(request.user).select_related(
        "round", "job__property", "job__scheme", "job__company"
    )
    return get_object_or_404(rows, pk=pk)


def said_of(drawn: DrawnJob, things: dict[str, str] | None = None) -> dict[str, Any]:
    """Drafts and findings of a job, each with the name of what it is about."""
    drafts = list(drawn.drafts.select_related("written_by"))
    for draft in drafts:
        known = things.get(draft.concerns) if things else None
        draft.about = known or words_of(drawn.job, draft.concerns) or draft.concerns
    return {
        "drawn": drawn,
        "drafts": drafts,
        "findings": told_findings(drawn.findings.all(), drawn.job),
        "is_read": hasattr(drawn, "reading_mark"),
        "round_drafts": FindingDraft.objects.filter(drawn_job__round=drawn.round_id).count(),
    }
