"""Cursor paging: stable while rows are added, as fast on the last page as on the first."""

from __future__ import annotations

from rest_framework.pagination import CursorPagination


class CursorPages(CursorPagination):
    ordering = "-pk"
    page_size = 50
    page_size_query_param = "page_size"
    max_page_size = 500
