"""A round walked with paper: the sheet is typed in at the desk, all of it at once or none."""

import re
from datetime import date, timedelta
from urllib.parse import urlencode

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Page, Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from breeder.base import form_tokens
from breeder.base.form_messages import show_refusal
from breeder.cultures.actions.rounds import BadRound, record_round
from breeder.cultures.forms.counts import EYE_CHOICES
from breeder.cultures.forms.fields import FIRST_YEAR
from breeder.cultures.forms.sheet import SHEET_SEEN, SheetForm, SheetRowForm
from breeder.cultures.queries.rounds import sheet_of
from breeder.cultures.queries.tubs import shelves
from breeder.cultures.views.answers import REFUSED

LONGEST_SHELF = 12
LONGEST_PAGE = 6  # digits
TUBS_A_PAGE = 40
OF_A_TUB = re.compile(r"tub(\d{1,9})-\w+")


def sheet(request: HttpRequest) -> HttpResponse:
    """Type in what was written on the printed sheet."""
    form_tokens.seen(request.POST.get("token", ""))
    chosen = _shelf_asked(request)
    form = SheetForm(request.POST or None, initial={"on": _day_asked(request)})
    rows, page = _rows(request, form, chosen)
    if request.method == "POST" and all([form.is_valid(), *(row.is_valid() for row in rows)]):
        try:
            return _write(request, form, rows, chosen)
        except ValidationError as refusal:
            _show_refusal(form, rows, refusal)
    shown = {"form": form, "rows": rows, "shelf": chosen, "page": page, "shelves": shelves()}
    shown |= {"eye_choices": EYE_CHOICES, "seen_choices": SHEET_SEEN}
    return render(request, "cultures/sheet.html", shown, status=REFUSED if form.is_bound else 200)


def _shelf_asked(request: HttpRequest) -> str:
    """Return the shelf that was chosen; a sign that no database keeps is left out."""
    return (request.POST.get("shelf") or request.GET.get("shelf", "")).replace("\x00", "")[:LONGEST_SHELF]


def _day_asked(request: HttpRequest) -> date:
    try:
        return _possible(date.fromisoformat(request.GET.get("on", "")))
    except ValueError:
        return _yesterday()


def _possible(on: date | None) -> date:
    """Return a day of which there can be a sheet: any since tubs were kept, up to today; for others yesterday."""
    return on if on and on.year >= FIRST_YEAR and on <= timezone.localdate() else _yesterday()


def _yesterday() -> date:
    return timezone.localdate() - timedelta(days=1)


def _rows(request: HttpRequest, form: SheetForm, shelf: str) -> tuple[list[SheetRowForm], Page]:
    """Return the rows of one page of the sheet, and of all other tubs that something was written for."""
    sent = request.POST if form.is_bound else None
    day = _possible(form.cleaned_data.get("on")) if form.is_bound and form.is_valid() else _day_asked(request)
    written = {int(found[1]) for name, value in request.POST.items() if value and (found := OF_A_TUB.fullmatch(name))}
    tubs = sheet_of(day, shelf=shelf, also=written)
    asked = request.POST.get("page") or request.GET.get("page", "1")
    page = Paginator([tub.pk for tub, _ in tubs], TUBS_A_PAGE).get_page(asked)
    here = set(page.object_list)
    shown = [(tub, done) for tub, done in tubs if tub.pk in here or tub.number in written]
    return [SheetRowForm(sent, tub=tub, done=done) for tub, done in shown], page


def _write(request: HttpRequest, form: SheetForm, rows: list[SheetRowForm], shelf: str) -> HttpResponse:
    visits = [visit for row in rows if (visit := row.visit())]
    here = {"on": form.cleaned_data["on"], "shelf": shelf, "page": request.POST.get("page", "1")[:LONGEST_PAGE]}
    answer = f"{reverse('cultures:sheet')}?{urlencode(here)}"
    token = request.POST.get("token", "")
    recorded = record_round(visits, happened_at=form.happened_at, by=request.user, token=token, answer=answer)
    many = "1 tub" if len(visits) == 1 else f"{len(visits)} tubs"
    are = "is" if len(visits) == 1 else "are"
    messages.success(request, f"{many} of the sheet of {form.cleaned_data['on']:%-d %B %Y} {are} in the book.")
    for broken in recorded.breaks:
        messages.warning(request, broken)
    return redirect(answer)


def _show_refusal(form: SheetForm, rows: list[SheetRowForm], refusal: ValidationError) -> None:
    by_tub = refusal.by_tub if isinstance(refusal, BadRound) else {}
    for row in rows:
        for sentence in by_tub.get(row.tub.pk, ()):
            row.add_error(None, sentence)
    if not by_tub:
        show_refusal(form, refusal)
