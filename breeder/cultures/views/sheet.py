"""A round walked with paper: the sheet is typed in at the desk, all of it at once or none."""

import re
from datetime import date, timedelta
from urllib.parse import urlencode

from django.core.exceptions import ValidationError
from django.core.paginator import Page, Paginator
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone

from breeder.base.form_messages import show_refusal
from breeder.base.submit import page, typed
from breeder.core.counting.plurals import is_or_are, number_text
from breeder.cultures.actions.rounds import BadRound, Visit, record_round
from breeder.cultures.forms.counts import EYE_CHOICES
from breeder.cultures.forms.fields import FIRST_YEAR
from breeder.cultures.forms.sheet import SHEET_SEEN, SheetForm, SheetRowForm
from breeder.cultures.queries.rounds import sheet_of
from breeder.cultures.queries.tubs import shelves
from breeder.cultures.views.answers import record

LONGEST_SHELF = 12
LONGEST_PAGE = 6  # digits
TUBS_A_PAGE = 40
TUB_FIELD = re.compile(r"tub(\d{1,9})-\w+")


def sheet(request: HttpRequest) -> HttpResponse:
    """Type in what was written on the printed sheet."""
    shelf = _shelf_asked(request)
    form = SheetForm(typed(request), initial={"on": _day_asked(request)})
    rows, sheet_page = _rows(request, form, shelf)
    answer = record(
        request,
        lambda **how: record_round(_visits(rows), happened_at=form.happened_at, **how),
        form,
        *rows,
        done=lambda _: _done(form, _visits(rows)),
        to=lambda _: _address(request, form, shelf),
        refuse=lambda refusal: _show_refusal(form, rows, refusal),
    )
    shown = {"form": form, "rows": rows, "shelf": shelf, "page": sheet_page, "shelves": shelves()}
    shown |= {"eye_choices": EYE_CHOICES, "seen_choices": SHEET_SEEN}
    return answer or page(request, "cultures/sheet.html", **shown)


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


def _address(request: HttpRequest, form: SheetForm, shelf: str) -> str:
    here = {"on": form.cleaned_data["on"], "shelf": shelf, "page": request.POST.get("page", "1")[:LONGEST_PAGE]}
    return f"{reverse('cultures:sheet')}?{urlencode(here)}"


def _rows(request: HttpRequest, form: SheetForm, shelf: str) -> tuple[list[SheetRowForm], Page]:
    """Return the rows of one page of the sheet, and of all other tubs that something was written for."""
    day = _possible(form.cleaned_data.get("on")) if form.is_bound and form.is_valid() else _day_asked(request)
    names = [TUB_FIELD.fullmatch(name) for name, value in request.POST.items() if value]
    filled_in = {int(name[1]) for name in names if name}
    tubs = sheet_of(day, shelf=shelf, also=filled_in)
    asked = request.POST.get("page") or request.GET.get("page", "1")
    sheet_page = Paginator([tub.pk for tub, _ in tubs], TUBS_A_PAGE).get_page(asked)
    here = set(sheet_page.object_list)
    shown = [(tub, done) for tub, done in tubs if tub.pk in here or tub.number in filled_in]
    return [SheetRowForm(typed(request), tub=tub, done=done) for tub, done in shown], sheet_page


def _visits(rows: list[SheetRowForm]) -> list[Visit]:
    return [visit for row in rows if (visit := row.visit())]


def _done(form: SheetForm, visits: list[Visit]) -> str:
    tubs = f"{number_text(len(visits), 'tubs')} of the sheet of {form.cleaned_data['on']:%-d %B %Y}"
    return f"{tubs} {is_or_are(len(visits))} in the book."


def _show_refusal(form: SheetForm, rows: list[SheetRowForm], refusal: ValidationError) -> None:
    by_tub = refusal.by_tub if isinstance(refusal, BadRound) else {}
    for row in rows:
        for sentence in by_tub.get(row.tub.pk, ()):
            row.add_error(None, sentence)
    if not by_tub:
        show_refusal(form, refusal)
