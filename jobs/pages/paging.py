"""Long lists by pages."""

from __future__ import annotations

from django.core.paginator import Page, Paginator


class LatePages(Paginator):  # type: ignore[type-arg]
    """Pages of a query: the keys of a page are found first, and only its own rows are read.

    What is passed over on the way to a late page is neither joined nor read whole. The query
    orders its rows without ties, as every list with pages has to.
    """

    def page(self, number: int | str) -> Page:  # type: ignore[type-arg]
        shown = self.validate_number(number)
        if not self.count:
            return self._get_page(self.object_list.none(), shown, self)
        first = (shown - 1) * self.per_page
        # Known by themselves: as part of the second query, which joins much, they would be the
        # last thing PostgreSQL looks at.
        keys = list(self.object_list.values_list("pk", flat=True)[first : first + self.per_page])
        return self._get_page(self.object_list.filter(pk__in=keys), shown, self)
