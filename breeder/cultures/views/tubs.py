"""The list of tubs, a tub's own page, and counting it."""

from typing import Any

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST
from django_tables2 import RequestConfig

from breeder.base import form_tokens, photos
from breeder.base.form_messages import show_refusal
from breeder.base.offline_forms import is_sent_later, typed_at
from breeder.cultures import actions, count_entry, entry_text
from breeder.cultures.actions.counts import record_count
from breeder.cultures.actions.line_lock import Recorded, kept_stages
from breeder.cultures.actions.rounds import record_round
from breeder.cultures.count_preview import Preview, preview
from breeder.cultures.forms.counts import COUNT_FORMS, CountForm
from breeder.cultures.forms.rounds import RoundForm
from breeder.cultures.models import Culture
from breeder.cultures.queries.tubs import book_of, entry_rows, looks_of, shelves, tub_by_number, tub_rows
from breeder.cultures.tables import TubTable
from breeder.cultures.tub_chart import chart_of
from breeder.cultures.views.answers import REFUSED, say, tub_or_404, tub_url, with_fault, written
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
    RequestConfig(request, paginate={"per_page": 100}).configure(table)
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


def tub(request: HttpRequest, number: int) -> HttpResponse:
    """One tub: what the book relies on, how that came about, and everything that was recorded."""
    return _tub_page(request, tub_or_404(number), RoundForm())


def _tub_page(request: HttpRequest, one: Culture, look: RoundForm, status: int = 200) -> HttpResponse:
    book, today = book_of(one), timezone.localdate()
    kept = [stage for stage in reversed(kept_stages(one.line)) if one.line.sold_by == Line.SoldBy.HEAD]
    workings = [entry_text.working_of(book.held(one.pk, stage), stage, today, one.line) for stage in kept]
    looks = looks_of(one)
    rows = entry_rows(one, newest=None if "all" in request.GET else NEWEST_ENTRIES)
    shown = {
        "tub": one,
        "line": one.line,
        "workings": [working for working in workings if working],
        "never_counted": [stage for stage, working in zip(kept, workings, strict=True) if working is None],
        "charts": [chart for stage in kept if (chart := chart_of(book, one, stage, timezone.now(), looks))],
        "entries": [(row, entry_text.sentence_of(row.entry, row.other_number)) for row in rows],
        "more": len(rows) == NEWEST_ENTRIES and "all" not in request.GET,
        "look": look,
        "row": next(iter(tub_rows(line_id=one.line_id, number=one.number, closed=bool(one.closed_on))), None),
    }
    return render(request, "cultures/tub.html", shown, status=status)


@require_POST
def tub_looked(request: HttpRequest, number: int) -> HttpResponse:
    """Record a look from the tub's own page."""
    form_tokens.seen(request.POST.get("token", ""))
    one = tub_or_404(number)
    form = RoundForm(request.POST, request.FILES)
    if not form.is_valid():
        return _tub_page(request, one, form, REFUSED)
    try:
        recorded = _look(request, one, form)
    except ValidationError as refusal:
        show_refusal(form, refusal)
        return _tub_page(request, one, form, REFUSED)
    say(request, f"Tub {one.number}: {entry_text.sentence_of(recorded.entry)}", recorded)
    return written(tub_url(one), recorded)


def _look(request: HttpRequest, one: Culture, form: RoundForm) -> Recorded:
    data = form.cleaned_data
    # A note or a photo alone does not say that all is well.
    visit = form.visit(one, well="well" in request.POST or not any(data[name] for name in ("note", "photo")))
    token = request.POST.get("token", "")
    writing = {"happened_at": typed_at(request), "by": request.user, "token": token, "answer": tub_url(one)}
    with photos.offered(form.cleaned_data["photo"], by=request.user) as offered:
        recorded = record_round([visit], photo=offered.photo, **writing)
    return with_fault(recorded, offered)


def _refused(request: HttpRequest, one: Culture, refusal: ValidationError) -> HttpResponse:
    return render(request, "cultures/refused.html", {"tub": one, "sentences": refusal.messages}, status=REFUSED)


def tub_count(request: HttpRequest, number: int) -> HttpResponse:
    """Count a tub in any way: first what the count would do is shown, then it is saved."""
    form_tokens.seen(request.POST.get("token", ""))
    one = tub_or_404(number)
    method = request.POST.get("method") or request.GET.get("method") or "hand"
    kind = COUNT_FORMS.get(method, COUNT_FORMS["hand"])
    form = kind(
        request.POST or None, request.FILES or None, initial={"stage": request.GET.get("stage", kind.usual_stage)}
    )
    shown: Preview | None = None
    if one.line.sold_by == Line.SoldBy.CUP:
        return _refused(
            request, one, count_entry.BadFact("This line is kept by the cup, so its animals are not counted.")
        )
    if request.method == "POST" and form.is_valid():
        try:
            was_shown = form.cleaned_data["shown"] == form.fingerprint or is_sent_later(request)
            if was_shown and "save" in request.POST:
                return _save_count(request, one, form)
            shown = _previewed(one, form, request.user)
        except ValidationError as refusal:
            show_refusal(form, refusal)
    page = {"form": form, "tub": one, "line": one.line, "method": form.method, "preview": shown}
    page |= {"methods": [(name, count_entry.NAMES[name]) for name in COUNT_FORMS]}
    page |= {"sexing": fact(one.line.species, "sexing", request.household)}  # type: ignore[attr-defined]
    page |= {"cautions": [(count_entry.NAMES[name], caution) for name, caution in count_entry.CAUTIONS.items()]}
    page |= {"fingerprint": form.fingerprint if shown else ""}
    status = REFUSED if form.is_bound and shown is None else 200
    return render(request, "cultures/count.html", page, status=status)


def _previewed(one: Culture, form: CountForm, by: Any) -> Preview:
    data = form.cleaned_data
    written = actions.counts.kept_values(data["stage"], form.method, form.given, form.sexed)
    return preview(one, data["stage"], form.method, written, data["happened_at"], by)


def _save_count(request: HttpRequest, one: Culture, form: CountForm) -> HttpResponse:
    data: dict[str, Any] = form.cleaned_data
    writing = {"by": request.user, "token": request.POST.get("token", "")}
    with photos.offered(data["photo"], by=request.user) as offered:
        recorded = record_count(
            one.pk,
            data["stage"],
            form.method,
            form.given,
            sexed=form.sexed,
            happened_at=data["happened_at"] or typed_at(request),
            note=data["note"],
            photo=offered.photo,
            **writing,
        )
    say(request, f"Tub {one.number}: {entry_text.sentence_of(recorded.entry)}", with_fault(recorded, offered))
    return written(tub_url(one), recorded)
