"""Lists a page at a time, with a count that never costs more than a page."""

from typing import Any, TypeVar
from urllib.parse import urlencode

from django.core.paginator import Page
from django.db.models import QuerySet
from django.http import HttpRequest, QueryDict
from django.utils.functional import cached_property
from django_tables2 import LazyPaginator, RequestConfig, Table

T = TypeVar("T", bound=Table)

ROWS = 25
#: A list longer than this is told as "more than": counting a whole large table costs more than its page.
COUNTED = 1000


class CappedPaginator(LazyPaginator):  # type: ignore[misc] # django-tables2 ships no types
    """Pages as `LazyPaginator` does, and counts as far as `COUNTED`."""

    @cached_property
    def counted(self) -> int:
        """How many rows there are, `COUNTED + 1` standing for any number above `COUNTED`."""
        rows: Any = self.object_list.data.data
        if isinstance(rows, QuerySet):
            return rows.order_by()[: COUNTED + 1].count()
        return len(rows)


def paged(request: HttpRequest, table: T) -> T:
    """The table, sorted and cut to the page that the address asks for."""
    RequestConfig(request, paginate={"per_page": ROWS, "paginator_class": CappedPaginator}).configure(table)
    return table


def counted(page: Page[object]) -> str:
    """The number of rows in words: "600", or "more than 1000". A list that ends on its page is not asked for it."""
    paginator: Any = page.paginator
    if not page.has_next():
        return str((page.number - 1) * paginator.per_page + len(page.object_list))
    if not isinstance(paginator, CappedPaginator):
        return str(paginator.count)
    return f"more than {COUNTED}" if paginator.counted > COUNTED else str(paginator.counted)


def with_values(query: QueryDict, **values: object) -> str:
    """The query string with some values set (an empty one is left out), back on the first page."""
    held: dict[str, object] = {name: query[name] for name in query if name not in {"page", "sort", *values}}
    held |= {name: value for name, value in values.items() if value != ""}
    return f"?{urlencode(held)}"
