"""The list of tubs, a tub's own page, and counting it."""

from typing import Any

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from breeder.base import photos
from breeder.base.form_messages import show_refusal
from breeder.base.offline_forms import is_sent_later, typed_at
from breeder.base.paging import in_pages
from breeder.base.submit import REFUSED, page
from breeder.cultures import count_entry, entry_text
from breeder.cultures.actions.counts import kept_values, record_count
from breeder.cultures.actions.line_lock import Recorded, kept_stages
from breeder.cultures.actions.rounds import record_round
from breeder.cultures.count_preview import Preview, preview
from breeder.cultures.forms.counts import COUNT_FORMS, OFFERED, CountForm
from breeder.cultures.forms.rounds import RoundForm
from breeder.cultures.models import Culture
from breeder.cultures.queries.tubs import book_of, entry_rows, looks_of, shelves, tub_by_number, tub_rows
from breeder.cultures.tables import TubTable
from breeder.cultures.tub_chart import chart_of
from breeder.cultures.views.answers import record, tub_or_404, tub_url, with_fault
from breeder.species.models import Line
from breeder.species.species_fields import fact

NEWEST_ENTRIES = 20
LONGEST_FIND, LONGEST_CHOICE = 40, 12
HIGHEST_NUMBER = 2**31 - 1  # of a tub, on both databases


def tub_list(request: HttpRequest) -> HttpResponse:
    """Tubs in shelf order."""
    find = _asked(request, "find", LONGEST_FIND)
    number = int(find) if find.isascii() and find.isdigit() else None
    if number is not None and tub_by_number(min(number, HIGHEST_NUMBER)):
        return redirect("cultures:tub", number=number)
    chosen = {name: _asked(request, name, LONGEST_CHOICE) for name in ("shelf", "purpose")}
    chosen["find"] = "" if number is not None else find
    closed = "closed" in request.GET
    rows = tub_rows(closed=closed, **chosen)
    table = TubTable(rows)
    in_pages(request, table)
    shown = {
        "table": table,
        "rows": rows,
        "due": sum(row.count_due for row in rows),
        "shelves": shelves(),
        "purposes": Culture.Purpose.choices,
        "chosen": chosen,
        "closed": closed,
        "missing": number,
    }
    return render(request, "cultures/tubs.html", shown)


def _asked(request: HttpRequest, name: str, longest: int) -> str:
    """Return what a filter asks for; a sign that no database keeps is left out."""
    return request.GET.get(name, "").replace("\x00", "").strip()[:longest]


def tub_page(request: HttpRequest, number: int) -> HttpResponse:
    """One tub: what the book relies on, how that came about, and everything that was recorded."""
    return page(request, "cultures/tub.html", **_about(request, tub_or_404(number)), look=RoundForm())


def _about(request: HttpRequest, tub: Culture) -> dict[str, Any]:
    book, today = book_of(tub), timezone.localdate()
    kept = [stage for stage in reversed(kept_stages(tub.line)) if tub.line.sold_by == Line.SoldBy.HEAD]
    workings = [entry_text.working_of(book.held(tub.pk, stage), stage, today, tub.line) for stage in kept]
    looks = looks_of(tub)
    rows = entry_rows(tub, newest=None if "all" in request.GET else NEWEST_ENTRIES)
    return {
        "tub": tub,
        "line": tub.line,
        "workings": [working for working in workings if working],
        "never_counted": [stage for stage, working in zip(kept, workings, strict=True) if working is None],
        "charts": [chart for stage in kept if (chart := chart_of(book, tub, stage, timezone.now(), looks))],
        "entries": [(row, entry_text.sentence_of(row.entry, row.other_number)) for row in rows],
        "more": len(rows) == NEWEST_ENTRIES and "all" not in request.GET,
        "row": next(iter(tub_rows(line_id=tub.line_id, number=tub.number, closed=bool(tub.closed_on))), None),
    }


@require_POST
def tub_looked(request: HttpRequest, number: int) -> HttpResponse:
    """Record a look from the tub's own page."""
    tub = tub_or_404(number)
    form = RoundForm(request.POST, request.FILES)

    def act(**how: Any) -> Recorded:
        # A note or a photo alone does not say that all is well.
        well = "well" in request.POST or not any(form.cleaned_data[name] for name in ("note", "photo"))
        with photos.offered(form.cleaned_data["photo"], by=request.user) as offered:
            visits = [form.visit(tub, well=well)]
            recorded = record_round(visits, happened_at=typed_at(request), photo=offered.photo, **how)
            return with_fault(recorded, offered)

    answer = record(request, act, form, done=_recorded, to=tub_url(tub))
    return answer or page(request, "cultures/tub.html", **_about(request, tub), look=form)


def tub_count(request: HttpRequest, number: int) -> HttpResponse:
    """Count a tub in any way: first what the count would do is shown, then it is saved."""
    tub = tub_or_404(number)
    if tub.line.sold_by == Line.SoldBy.CUP:
        sentences = ["This line is kept by the cup, so its animals are not counted."]
        return render(request, "cultures/refused.html", {"tub": tub, "sentences": sentences}, status=REFUSED)
    form, shown = _count_form(request), None
    if "save" in request.POST and form.is_valid() and (form.was_shown or is_sent_later(request)):
        if answer := _save_count(request, tub, form):
            return answer
    elif request.method == "POST" and form.is_valid():
        shown = _previewed(tub, form, request.user)
    status = REFUSED if form.is_bound and shown is None else 200
    return render(request, "cultures/count.html", _about_count(request, tub, form, shown), status=status)


def _count_form(request: HttpRequest) -> CountForm:
    method = request.POST.get("method") or request.GET.get("method") or "hand"
    form = COUNT_FORMS.get(method, COUNT_FORMS["hand"])
    initial = {"stage": request.GET.get("stage", form.usual_stage)}
    return form(request.POST or None, request.FILES or None, initial=initial)


def _about_count(request: HttpRequest, tub: Culture, form: CountForm, shown: Preview | None) -> dict[str, Any]:
    return {
        "form": form,
        "tub": tub,
        "line": tub.line,
        "method": form.method,
        "preview": shown,
        "methods": [(name, count_entry.NAMES[name]) for name in OFFERED],
        "sexing": fact(tub.line.species, "sexing", request.household),  # type: ignore[attr-defined]
        "cautions": [(count_entry.NAMES[name], caution) for name, caution in count_entry.CAUTIONS.items()],
        "fingerprint": form.fingerprint if shown else "",
    }


def _previewed(tub: Culture, form: CountForm, by: Any) -> Preview | None:
    """Return what the count would do; None with the refusal on the form where it cannot be."""
    data = form.cleaned_data
    try:
        kept = kept_values(data["stage"], form.method, form.given, form.sexed)
        return preview(tub, data["stage"], form.method, kept, data["happened_at"], by)
    except ValidationError as refusal:
        show_refusal(form, refusal)
        return None


def _save_count(request: HttpRequest, tub: Culture, form: CountForm) -> HttpResponse | None:
    data = form.cleaned_data

    def act(**how: Any) -> Recorded:
        with photos.offered(data["photo"], by=request.user) as offered:
            values = {"happened_at": data["happened_at"] or typed_at(request), "note": data["note"]}
            values |= {"sexed": form.sexed, "photo": offered.photo}
            return with_fault(record_count(tub.pk, data["stage"], form.method, form.given, **values, **how), offered)

    return record(request, act, form, done=_recorded, to=tub_url(tub))


def _recorded(recorded: Recorded) -> str:
    return f"Tub {recorded.entry.culture.number}: {entry_text.sentence_of(recorded.entry)}"
