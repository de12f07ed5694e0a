"""Pages for a phone on a thin line go compressed; static files are compressed beforehand."""

from __future__ import annotations

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.middleware.gzip import GZipMiddleware

ON_A_THIN_LINE = ("/on-site/", "/load-lists/", "/rounds/")


class CompressOnSitePages(GZipMiddleware):
    """Django's compression, with its random padding against BREACH, for on-site pages only."""

    def process_response(
        self, request: HttpRequest, response: HttpResponseBase
    ) -> HttpResponseBase:
        if not request.path.startswith(ON_A_THIN_LINE):
            return response
        compressed: HttpResponseBase = super().process_response(request, response)
        return compressed
