"""The list of lines, and one line: its tubs, what must stay, what is promised to whom first, what is free and why."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from breeder.base import form_tokens
from breeder.base.form_messages import show_refusal
from breeder.base.paging import ROWS_WITH_BARS, in_pages
from breeder.base.roles import keeper_only
from breeder.cultures import frozen_lines
from breeder.cultures.actions.freezes import end_freeze, freeze_line
from breeder.cultures.actions.minimums import set_minimum
from breeder.cultures.forms.counts import WhenForm
from breeder.cultures.forms.lines import EndFreezeForm, FreezeForm, MinimumForm
from breeder.cultures.growth_forecast import spare_of_species, when_ready
from breeder.cultures.line_minimum import minimum_of, outlook_of, sexes_out_of_share, too_few_tubs
from breeder.cultures.line_surplus import purpose_on
from breeder.cultures.promise_queue import waiting_for
from breeder.cultures.queries.sexed_adults import sexed_of
from breeder.cultures.queries.stock import stock_of
from breeder.cultures.queries.tubs import LineRow, line_by_pk, line_rows, promise_rows, tub_rows
from breeder.cultures.tables import LineTable
from breeder.cultures.views.answers import REFUSED
from breeder.species.models import Line


def line_list(request: HttpRequest) -> HttpResponse:
    """Lines by name."""
    closed = "closed" in request.GET
    rows = line_rows(closed=closed)
    table = LineTable(rows)
    in_pages(request, table, ROWS_WITH_BARS)
    short = [row for row in rows if any(stage.short for stage in row.shown)]
    return render(request, "cultures/lines.html", {"table": table, "rows": rows, "closed": closed, "short": short})


def line(request: HttpRequest, pk: int) -> HttpResponse:
    """One line."""
    one = _line_or_404(pk)
    row = LineRow(one, stock_of(pk))
    promises = promise_rows(pk)
    tubs = tub_rows(line_id=pk)
    stages = [(stage, waiting_for(stage, promises)) for stage in row.shown]
    shown = {
        "line": one,
        "row": row,
        "stages": stages,
        "tubs": tubs,
        "too_few_tubs": too_few_tubs(one, [purpose_on(each.tub, each.today) for each in tubs]),
        "frozen": one.frozen_because.rstrip("."),
        "should_freeze": frozen_lines.should_freeze(row.stock),
    }
    if one.sold_by == Line.SoldBy.HEAD:
        shown |= _kept(one, row) | _when(request, row)
    return render(request, "cultures/line.html", shown)


def _kept(one: Line, row: LineRow) -> dict[str, Any]:
    """Return what must stay of a line kept by the animal, and what its numbers mean."""
    return {
        "minimum": minimum_of(one),
        "harvest_percent": round(float(one.harvest_share or 0) * 100),
        "outlook": outlook_of(one, row.stock.stages["adults"]),
        "out_of_share": sexes_out_of_share(one, sexed_of(one.pk)),
        "spare": spare_of_species(one.species),
    }


def _when(request: HttpRequest, row: LineRow) -> dict[str, Any]:
    """Return the question when so many will be there, and its answer where it was asked."""
    form = WhenForm(request.GET if "wanted" in request.GET else None)
    shown: dict[str, Any] = {"when_form": form, "when": None}
    if form.is_bound and form.is_valid():
        stock = row.stock.stages.get(form.cleaned_data["stage"])
        if stock is not None:
            wanted = form.cleaned_data["wanted"]
            shown["when"] = when_ready(row.line, stock, wanted, timezone.localdate())
    return shown


@keeper_only
def line_minimum(request: HttpRequest, pk: int) -> HttpResponse:
    """Set how many of a line must stay."""
    form_tokens.seen(request.POST.get("token", ""))
    form = MinimumForm(request.POST or None, instance=_line_or_404(pk))
    if request.method == "POST" and form.is_valid():
        try:
            broken = set_minimum(
                pk, **form.kept, genetics=form.genetics, by=request.user, token=request.POST.get("token", "")
            )
        except ValidationError as refusal:
            show_refusal(form, refusal)
        else:
            messages.success(request, "What must stay is set.")
            for sentence in broken:
                messages.warning(request, sentence)
            return redirect("cultures:line", pk=pk)
    shown = {"form": form, "line": _line_or_404(pk)}
    return render(request, "cultures/minimum.html", shown, status=REFUSED if form.is_bound else 200)


@keeper_only
def line_freeze(request: HttpRequest, pk: int) -> HttpResponse:
    """Freeze a line, or end its freeze; both with a reason."""
    form_tokens.seen(request.POST.get("token", ""))
    one, token = _line_or_404(pk), request.POST.get("token", "")
    frozen = bool(one.frozen_because)
    form = EndFreezeForm(request.POST or None) if frozen else FreezeForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            if frozen:
                end_freeze(pk, form.cleaned_data["reason"], by=request.user, token=token)
            else:
                freeze_line(pk, form.cleaned_data["because"], by=request.user, token=token)
        except ValidationError as refusal:
            show_refusal(form, refusal)
        else:
            messages.success(request, "The freeze is ended." if frozen else "The line is frozen.")
            return redirect("cultures:line", pk=pk)
    shown = {"form": form, "line": one}
    return render(request, "cultures/freeze.html", shown, status=REFUSED if form.is_bound else 200)


def _line_or_404(pk: int) -> Line:
    one = line_by_pk(pk)
    if one is None:
        raise Http404("This line is not in the book.")
    return one
