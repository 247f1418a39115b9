"""Answer with PDFs that open in the browser; where there is nothing to print, a page says why."""

from collections.abc import Callable
from datetime import date
from functools import wraps
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from breeder.base.addresses import phone_address
from breeder.base.queries import household
from breeder.base.roles import keeper_only
from breeder.documents import queries, rules
from breeder.documents.address_label import address_label as draw_address_label
from breeder.documents.cup_labels import cup_labels as draw_cup_labels
from breeder.documents.packing_slip import packing_slip as draw_packing_slip
from breeder.documents.page_frame import Sheet, day, weekday
from breeder.documents.price_list import price_list as draw_price_list
from breeder.documents.pulling_list import pulling_list as draw_pulling_list
from breeder.documents.round_sheet import round_sheet as draw_round_sheet
from breeder.documents.rules import NothingToPrint
from breeder.documents.tub_labels import tub_labels as draw_tub_labels

# Some browsers apply the file's policy to their PDF viewer, and the policy of our pages would block it.
PDF_POLICY = "default-src 'none'; style-src 'unsafe-inline'; object-src 'self'; frame-ancestors 'none'"


def pdf_view(view: Callable[..., tuple[str, bytes]]) -> Callable[..., HttpResponse]:
    """Answer with the PDF that a view returns, or with the sentence that says why there is none."""

    @require_safe
    @wraps(view)
    def answered(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        try:
            name, content = view(request, *args, **kwargs)
        except NothingToPrint as reason:
            return render(request, "documents/nothing.html", {"sentence": str(reason)}, status=404)
        answer = HttpResponse(content, content_type="application/pdf")
        answer.headers["Content-Disposition"] = f'inline; filename="{name}.pdf"'
        answer.headers["Cache-Control"] = "private, no-store"
        answer.headers["Content-Security-Policy"] = PDF_POLICY
        return answer

    return answered


def empty_sheet(title: str, **more: Any) -> Sheet:
    """Return an empty document in the household's name and paper size: US letter where sizes are in inches, else A4."""
    home = household()
    return Sheet(title, home.trade_name, us_letter=home.inches, **more)


@pdf_view
def pulling_list(request: HttpRequest, number: int) -> tuple[str, bytes]:
    """Print what to take from which tub for one box."""
    parcel = queries.parcel_by_number(number)
    when = f" · to be posted {weekday(parcel.post_on)}" if parcel.post_on else ""
    sheet = empty_sheet(f"Pulling list, box {number}", subtitle=f"order {parcel.order.number}{when}")
    return f"pulling-list-box-{number}", draw_pulling_list(queries.pulls([parcel]), sheet)


@pdf_view
def day_pulling_list(request: HttpRequest) -> tuple[str, bytes]:
    """Print what to take from which tub for all boxes of a day, in one walk along the shelves."""
    on = requested_day(request.GET.get("day", ""))
    parcels = queries.parcels_of_day(on)
    boxes = rules.list_text(str(parcel.number) for parcel in parcels)
    sheet = empty_sheet(
        f"Pulling list, {weekday(on)}", subtitle=f"box {boxes}" if len(parcels) == 1 else f"boxes {boxes}"
    )
    return f"pulling-list-{on}", draw_pulling_list(queries.pulls(parcels), sheet)


def requested_day(typed: str) -> date:
    """Return the day asked for, or today if none was. Raises NothingToPrint for text that is not a day."""
    try:
        return date.fromisoformat(typed) if typed else timezone.localdate()
    except ValueError:
        raise NothingToPrint(f"“{typed[:40]}” is not a day. Write it as year-month-day, such as 2026-03-02.") from None


@pdf_view
def packing_slip(request: HttpRequest, number: int) -> tuple[str, bytes]:
    """Print the list that travels with the animals."""
    parcel = queries.parcel_by_number(number)
    when = f" · posted {day(parcel.post_on)}" if parcel.post_on else ""
    sheet = empty_sheet(f"Packing slip, box {number}", subtitle=f"order {parcel.order.number}{when}")
    return f"packing-slip-box-{number}", draw_packing_slip(queries.slip(parcel, household()), sheet)


@pdf_view
def address_label(request: HttpRequest, number: int) -> tuple[str, bytes]:
    """Print the label for the address side."""
    label = queries.address_label(queries.parcel_by_number(number), household())
    return f"address-label-box-{number}", draw_address_label(label, empty_sheet(f"Address label, box {number}"))


@pdf_view
def cup_labels(request: HttpRequest, number: int) -> tuple[str, bytes]:
    """Print a label for each cup of a box."""
    cups = queries.cups(queries.parcel_by_number(number))
    return f"cup-labels-box-{number}", draw_cup_labels(cups, empty_sheet(f"Cup labels, box {number}"))


@require_safe
def tub_labels(request: HttpRequest) -> HttpResponse:
    """Print labels of the tubs asked for, or of all open tubs; warn first if no phone can open their square codes."""
    base = phone_address(request.scheme or "http", request.get_host(), settings.ALLOWED_HOSTS)
    if not base and "anyway" not in request.GET:
        return render(request, "documents/no_phone.html")
    return _tub_labels(request, base)


@pdf_view
def _tub_labels(request: HttpRequest, base: str) -> tuple[str, bytes]:
    numbers = rules.numbers_in(request.GET.get("numbers", ""))
    return "tub-labels", draw_tub_labels(queries.tub_cards(numbers, base), empty_sheet("Tub labels"))


@keeper_only
@pdf_view
def price_list(request: HttpRequest) -> tuple[str, bytes]:
    """Print what is for sale today."""
    today = timezone.localdate()
    offers, gone = queries.priced(household(), today)
    return f"price-list-{today}", draw_price_list(offers, gone, empty_sheet("Price list", subtitle=day(today)))


@pdf_view
def round_sheet(request: HttpRequest) -> tuple[str, bytes]:
    """Print the tubs in shelf order with room to write."""
    # PostgreSQL refuses text with a null character.
    rows = queries.round_rows(request.GET.get("shelf", "").replace("\x00", ""))
    return "round-sheet", draw_round_sheet(rows, empty_sheet("Round sheet", sideways=True))
