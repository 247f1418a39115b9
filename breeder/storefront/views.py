"""Pages of what can be sold: the keeper's page, lists to take away, and the public list."""

from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache

from breeder.base.csv_export import csv_answer
from breeder.base.paging import ROWS_WITH_BARS, in_pages
from breeder.base.roles import is_keeper
from breeder.species.models import Species
from breeder.storefront import queries, rules
from breeder.storefront.tables import CSV_COLUMNS, ForSaleTable, csv_rows

LONGEST_ASKED = 80


def page(request: HttpRequest) -> HttpResponse:
    """Show what every line can spare; a helper sees no prices."""
    asked = _asked(request)
    rows = queries.rows(timezone.localdate(), **asked)
    table = ForSaleTable(rows, is_keeper=is_keeper(request.user), empty_text=_why_empty(asked))
    in_pages(request, table, ROWS_WITH_BARS)
    shown = {"table": table, "asked": asked, "groups": Species.Group.choices, "count": len(rows)}
    return render(request, "storefront/page.html", shown)


def csv(request: HttpRequest) -> HttpResponse:
    """Send the same lines as a file for a spreadsheet."""
    rows = queries.rows(timezone.localdate(), **_asked(request))
    return csv_answer("for-sale.csv", CSV_COLUMNS, csv_rows(rows, prices=is_keeper(request.user)))


def text(request: HttpRequest) -> HttpResponse:
    """Show the list to paste into a message; a helper's has no prices."""
    household = request.household  # type: ignore[attr-defined]
    lines = queries.public_lines(household.few_below_packs)
    text = rules.for_sale_text(lines, household.currency, prices=is_keeper(request.user))
    return render(request, "storefront/text.html", {"text": text, "rows": text.count("\n") + 2})


@login_not_required
@never_cache
def public(request: HttpRequest) -> HttpResponse:
    """Show the public what is available, in words."""
    household = request.household  # type: ignore[attr-defined]
    if not household.public_list:
        raise Http404("This list is not public.")
    lines = queries.public_lines(household.few_below_packs)
    return render(request, "storefront/public.html", {"lines": lines})


def _asked(request: HttpRequest) -> dict[str, Any]:
    group = request.GET.get("group", "")
    return {
        "find": request.GET.get("find", "").replace("\x00", "").strip()[:LONGEST_ASKED],
        "group": group if group in Species.Group.values else "",
        "only_free": request.GET.get("only_free") == "1",
    }


def _why_empty(asked: dict[str, Any]) -> str:
    if any(asked.values()):
        return "No line is like that. Look for fewer letters, or show all groups."
    return "No line yet. Add one under Book, give it a tub and count it: then it is here."
