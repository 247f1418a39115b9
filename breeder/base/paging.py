"""Long lists are shown in pages; sorting and filtering are done before, over all rows, and an export holds all."""

from django.http import HttpRequest
from django_tables2 import RequestConfig, Table

ROWS_A_PAGE = 40
ROWS_WITH_BARS = 30  # a drawn bar is as much to send as a dozen plain cells


def in_pages(request: HttpRequest, table: Table, rows: int = ROWS_A_PAGE) -> None:
    """Sort a table as the address asks, and show the page that it asks for."""
    RequestConfig(request, paginate={"per_page": rows}).configure(table)
