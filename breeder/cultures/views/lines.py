"""The list of lines, and one line: its tubs, what must stay, what is promised to whom first, what is free and why."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone

from breeder.base.paging import ROWS_WITH_BARS, in_pages
from breeder.base.roles import keeper_only
from breeder.base.submit import page, submit, typed
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
from breeder.species.models import Line


def line_list(request: HttpRequest) -> HttpResponse:
    """Lines by name."""
    closed = "closed" in request.GET
    rows = line_rows(closed=closed)
    table = LineTable(rows)
    in_pages(request, table, ROWS_WITH_BARS)
    short = [row for row in rows if any(stage.short for stage in row.shown)]
    return render(request, "cultures/lines.html", {"table": table, "rows": rows, "closed": closed, "short": short})


def line_page(request: HttpRequest, pk: int) -> HttpResponse:
    """One line."""
    line = _line_or_404(pk)
    row = LineRow(line, stock_of(pk))
    promises = promise_rows(pk)
    tubs = tub_rows(line_id=pk)
    stages = [(stage, waiting_for(stage, promises)) for stage in row.shown]
    shown = {
        "line": line,
        "row": row,
        "stages": stages,
        "tubs": tubs,
        "too_few_tubs": too_few_tubs(line, [purpose_on(each.tub, each.today) for each in tubs]),
        "frozen": line.frozen_because.rstrip("."),
        "should_freeze": frozen_lines.should_freeze(row.stock),
    }
    if line.sold_by == Line.SoldBy.HEAD:
        shown |= _kept(line, row) | _when(request, row)
    return render(request, "cultures/line.html", shown)


def _kept(line: Line, row: LineRow) -> dict[str, Any]:
    """Return what must stay of a line kept by the animal, and what its numbers mean."""
    return {
        "minimum": minimum_of(line),
        "harvest_percent": round(float(line.harvest_share or 0) * 100),
        "outlook": outlook_of(line, row.stock.stages["adults"]),
        "out_of_share": sexes_out_of_share(line, sexed_of(line.pk)),
        "spare": spare_of_species(line.species),
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
    form = MinimumForm(typed(request), instance=_line_or_404(pk))

    def act(**how: Any) -> tuple[str, ...]:
        return set_minimum(pk, **form.kept, genetics=form.genetics, **how)

    answer = submit(request, act, form, done="What must stay is set.", to=_line_url(pk))
    if answer:
        for sentence in answer.result:
            messages.warning(request, sentence)
        return answer
    return page(request, "cultures/minimum.html", form=form, line=_line_or_404(pk))


@keeper_only
def line_freeze(request: HttpRequest, pk: int) -> HttpResponse:
    """Freeze a line, or end its freeze; both with a reason."""
    line = _line_or_404(pk)
    form = EndFreezeForm(typed(request)) if line.frozen_because else FreezeForm(typed(request))
    act, done = (end_freeze, "The freeze is ended.") if line.frozen_because else (freeze_line, "The line is frozen.")
    answer = submit(
        request, lambda **how: act(pk, *form.cleaned_data.values(), **how), form, done=done, to=_line_url(pk)
    )
    return answer or page(request, "cultures/freeze.html", form=form, line=line)


def _line_or_404(pk: int) -> Line:
    line = line_by_pk(pk)
    if line is None:
        raise Http404("This line is not in the book.")
    return line


def _line_url(pk: int) -> str:
    return reverse("cultures:line", args=[pk])
