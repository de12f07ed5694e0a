"""Pictures of what audits found: of a round, of all rounds of a scheme, of a company's own jobs."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import path, reverse
from django.utils.safestring import SafeString

from compliance.audits.pictures import Picture, pictures_for
from compliance.models import AuditRound
from jobs.models import Role
from jobs.pages.access import page_for

SHORT_TABLE = 12
COMPANY = (Role.COMPLIANCE_OFFICER, Role.PLANNER)


@page_for(Role.AUDITOR)
def round_pictures(request: HttpRequest, pk: int) -> HttpResponse:
    record = get_object_or_404(AuditRound.objects.visible_to(request.user), pk=pk)
    return _page(
        request,
        pictures_for(request.user, record),
        f"Pictures of “{record.name}”",
        "Of the jobs read so far. Strata count as they were drawn here; the round’s estimate "
        "weights them.",
        back=("audit_round", [record.pk], "The round"),
        csv=("round_picture_csv", [record.pk]),
    )


@page_for(Role.AUDITOR)
def round_picture_csv(request: HttpRequest, pk: int, picture: str) -> HttpResponse:
    record = get_object_or_404(AuditRound.objects.visible_to(request.user), pk=pk)
    return _csv(pictures_for(request.user, record), picture, f"round-{record.pk}-{picture}")


@page_for(Role.AUDITOR)
def audit_pictures(request: HttpRequest) -> HttpResponse:
    return _page(
        request,
        pictures_for(request.user),
        "Pictures of all rounds",
        f"Every job read under {request.user.scheme}, each round’s as it was drawn.",
        back=("audit_home", [], "All rounds"),
        csv=("audit_picture_csv", []),
    )


@page_for(Role.AUDITOR)
def audit_picture_csv(request: HttpRequest, picture: str) -> HttpResponse:
    return _csv(pictures_for(request.user), picture, f"audits-{picture}")


@page_for(*COMPANY)
def finding_pictures(request: HttpRequest) -> HttpResponse:
    """The same of the company's own jobs, as far as findings were released."""
    return _page(
        request,
        pictures_for(request.user),
        "Pictures of findings",
        "Your own jobs that auditors have read. Rates are of jobs drawn, not of all jobs.",
        back=("findings", [], "All findings"),
        csv=("finding_picture_csv", []),
    )


@page_for(*COMPANY)
def finding_picture_csv(request: HttpRequest, picture: str) -> HttpResponse:
    return _csv(pictures_for(request.user), picture, f"findings-{picture}")


def _page(
    request: HttpRequest,
    pictures: list[Picture],
    title: str,
    lead: str,
    *,
    back: tuple[str, list[int], str],
    csv: tuple[str, list[int]],
) -> HttpResponse:
    name, arguments, words = back
    context = {
        "pictures": [_shown(picture, *csv) for picture in pictures],
        "back": (reverse(name, args=arguments), words),
        "page_kicker": "Audit",
        "page_title": title,
        "page_lead": lead,
    }
    return render(request, "compliance/audits/pictures.html", context)


def _shown(picture: Picture, csv: str, arguments: list[int]) -> dict[str, Any]:
    return {
        "key": picture.key,
        "title": picture.title,
        "svg": SafeString(picture.svg),
        "note": picture.note,
        "tall": picture.is_tall,
        "open": len(picture.table.rows) <= SHORT_TABLE,
        "columns": picture.table.columns,
        "rows": [list(zip(picture.table.columns, row, strict=True)) for row in picture.table.rows],
        "csv": reverse(csv, args=[*arguments, picture.key]),
    }


def _csv(pictures: list[Picture], key: str, name: str) -> HttpResponse:
    """The figures behind one picture. A picture that is not there is a 404."""
    found = next((picture for picture in pictures if picture.key == key), None)
    if found is None:
        raise Http404
    answer = HttpResponse(found.data.to_csv(), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{name}.csv"'
    return answer


urlpatterns = [
    path("audit/rounds/<int:pk>/pictures/", round_pictures, name="round_pictures"),
    path(
        "audit/rounds/<int:pk>/pictures/<slug:picture>.csv",
        round_picture_csv,
        name="round_picture_csv",
    ),
    path("audit/pictures/", audit_pictures, name="audit_pictures"),
    path("audit/pictures/<slug:picture>.csv", audit_picture_csv, name="audit_picture_csv"),
    path("findings/pictures/", finding_pictures, name="finding_pictures"),
    path("findings/pictures/<slug:picture>.csv", finding_picture_csv, name="finding_picture_csv"),
]
