"""Pages of a line that show people: who has it from the keeper, and who is promised what of it in which order."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from breeder.base.csv_export import csv_answer
from breeder.base.paging import in_pages
from breeder.base.queries import household
from breeder.base.roles import keeper_only
from breeder.base.submit import REFUSED, submit
from breeder.cultures.queries.tubs import line_by_pk
from breeder.orders import actions
from breeder.orders.models import Order
from breeder.orders.queries.line_customers import handed_of_line, who_has
from breeder.orders.queries.orders import boxes_of, orders
from breeder.orders.queries.promises import promises_of_line
from breeder.orders.tables import HANDED_COLUMNS, HandedTable, handed_cells
from breeder.species.models import Line


@keeper_only
def people(request: HttpRequest, pk: int) -> HttpResponse:
    """Who has this line from the keeper: when, how many, out of which tub, latest first."""
    line = _line_or_404(pk)
    who = who_has(handed_of_line(pk))
    table = HandedTable(who.handed, empty_text="Nobody yet. What is packed for somebody stands here.")
    in_pages(request, table)
    return render(request, "orders/people.html", {"line": line, "who": who, "table": table})


@keeper_only
def people_csv(request: HttpRequest, pk: int) -> HttpResponse:
    """Send the same as a file for a spreadsheet, with how to reach each of them."""
    line = _line_or_404(pk)
    rows = who_has(handed_of_line(pk)).handed
    return csv_answer(f"who-has-line-{line.pk}.csv", HANDED_COLUMNS, (handed_cells(row) for row in rows))


@keeper_only
def promises(request: HttpRequest, pk: int) -> HttpResponse:
    """Who is promised what of a line, in which order, and what can be done while it is short."""
    actions.lapse_holds()
    return _promises_page(request, _line_or_404(pk))


@keeper_only
@require_POST
def name_tub(request: HttpRequest, pk: int) -> HttpResponse:
    """Let what is held for an order come out of another tub, or out of any."""
    line = _line_or_404(pk)
    number, order_line, tub = (_number(request.POST.get(name, "")) for name in ("order", "line", "tub"))

    def act(**how: Any) -> Order:
        if not orders().filter(number=number).exists():
            raise ValidationError("This order is not in the book any more. Look at the promises again.")
        return actions.name_tub(number, order_line, tub or None, **how)

    answer = submit(
        request,
        act,
        to=reverse("orders:line_promises", args=[pk]),
        done=f"Order {number} is moved.",
        refuse=lambda refusal: _say(request, refusal),
    )
    if answer is None:
        return _promises_page(request, line, open_line=order_line, status=REFUSED)
    if boxes := boxes_of(answer.result):
        messages.warning(request, f"Box {boxes[-1].number} was planned before. Look which tub it takes from.")
    return answer


def _say(request: HttpRequest, refusal: ValidationError) -> None:
    """Say a refusal next to the button that was pressed."""
    for sentence in refusal.messages:
        messages.error(request, sentence)


def _promises_page(request: HttpRequest, line: Line, *, open_line: int = 0, status: int = 200) -> HttpResponse:
    stock, stages = promises_of_line(line.pk, timezone.now())
    name = household().trade_name
    letters = {row.promise.pk: row.letter(name) for stage in stages for row in stage.rows if row.missing}
    shown = [(stage, [(row, letters.get(row.promise.pk)) for row in stage.rows]) for stage in stages]
    page = {"line": line, "stock": stock, "stages": shown, "open_line": open_line}
    return render(request, "orders/promises.html", page, status=status)


def _number(typed: str) -> int:
    return int(typed) if typed.isascii() and typed.isdecimal() and len(typed) < 19 else 0


def _line_or_404(pk: int) -> Line:
    line = line_by_pk(pk)
    if line is None:
        raise Http404("This line is not in the book.")
    return line
