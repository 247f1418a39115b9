"""What can be sold: the keeper's page, lists to take away, and the public list."""

from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django_tables2 import RequestConfig

from breeder.forsale import queries
from breeder.forsale.tables import CSV_COLUMNS, ForSaleTable, csv_rows
from breeder.house.roles import is_keeper
from breeder.pages.csv_file import csv_answer
from breeder.taxa.models import Species

ROWS_A_PAGE = 100
LONGEST_ASKED = 80


def _asked(request: HttpRequest) -> dict[str, str | bool]:
    group = request.GET.get("group", "")
    return {
        "find": request.GET.get("find", "").replace("\x00", "").strip()[:LONGEST_ASKED],
        "group": group if group in Species.Group.values else "",
        "only_free": request.GET.get("only_free") == "1",
    }


def page(request: HttpRequest) -> HttpResponse:
    """Show what every line can spare; a helper sees no prices."""
    asked = _asked(request)
    rows = queries.rows(**asked)  # type: ignore[arg-type]
    hidden = () if is_keeper(request.user) else ("price",)
    table = ForSaleTable(rows, today=timezone.localdate(), exclude=hidden, empty_text="No line here.")
    RequestConfig(request, paginate={"per_page": ROWS_A_PAGE}).configure(table)
    shown = {"table": table, "asked": asked, "groups": Species.Group.choices, "count": len(rows)}
    return render(request, "forsale/page.html", shown)


def csv(request: HttpRequest) -> HttpResponse:
    """Send the same lines as a file for a spreadsheet."""
    rows = queries.rows(**_asked(request))  # type: ignore[arg-type]
    return csv_answer("for-sale.csv", CSV_COLUMNS, csv_rows(rows, prices=is_keeper(request.user)))


def text(request: HttpRequest) -> HttpResponse:
    """Show the list to paste into a message."""
    household = request.household  # type: ignore[attr-defined]
    said = queries.as_text(household.few_below_packs, household.currency)
    return render(request, "forsale/text.html", {"said": said, "rows": said.count("\n") + 2})


@login_not_required
def public(request: HttpRequest) -> HttpResponse:
    """Show anybody what is to be had, in words."""
    household = request.household  # type: ignore[attr-defined]
    if not household.public_list:
        raise Http404("This list is not public.")
    lines = queries.public_lines(household.few_below_packs)
    return render(request, "forsale/public.html", {"lines": lines})
