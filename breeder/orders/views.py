"""Pages of packs and orders; all of them belong to the keeper, since they show people and money."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from breeder.base import form_tokens
from breeder.base.csv_export import csv_answer
from breeder.base.paging import in_pages
from breeder.base.roles import keeper_only
from breeder.orders import actions, movement_block
from breeder.orders.forms.existing_order import CancelForm, HoldForm, LinesForm, PaymentForm, money_due
from breeder.orders.forms.list_filters import OrderFilter, packs_asked_for
from breeder.orders.forms.new_order import PacksForm, TermsForm, WhoForm, starting_terms, terms_of
from breeder.orders.forms.offers import OfferForm
from breeder.orders.models import Offer, Order
from breeder.orders.pack_picker import picked
from breeder.orders.queries.orders import (
    bill_of,
    boxes_of,
    held_of,
    lines_on_offer,
    offers,
    order_lines,
    orders,
    rows_of,
    sortable,
    whole,
)
from breeder.orders.rules.money import in_words
from breeder.orders.rules.order_status import OPEN, after_payment, end_of, runs_out, standing, usual_hold
from breeder.orders.rules.packs import told
from breeder.orders.rules.stale_order import ChangedMeanwhile
from breeder.orders.tables import ORDER_COLUMNS, OfferTable, OrderRows, OrderTable, order_cells

# The form is shown again with what was typed; 422 says to a browser's script that nothing was done.
REFUSED = 422


@keeper_only
def order_list(request: HttpRequest) -> HttpResponse:
    """Show orders, the open ones unless asked otherwise."""
    actions.lapse_holds()
    chosen = OrderFilter.chosen(request.GET)
    found = sortable(orders(chosen.statuses, chosen.who))
    rows = OrderRows(found, timezone.now())
    table = OrderTable(rows, empty_text="No order here. New ones are agreed under “New order”.")
    in_pages(request, table)
    page = {"table": table, "chosen": chosen, "lede": chosen.said(found.count())}
    return render(request, "orders/list.html", page)


@keeper_only
def order_csv(request: HttpRequest) -> HttpResponse:
    """Send the same orders as a file for a spreadsheet."""
    chosen = OrderFilter.chosen(request.GET)
    rows = rows_of(orders(chosen.statuses, chosen.who), timezone.now())
    return csv_answer("orders.csv", ORDER_COLUMNS, (order_cells(row) for row in rows))


@keeper_only
def order_new(request: HttpRequest) -> HttpResponse:
    """Agree an order: for whom, which packs, on which terms."""
    form_tokens.seen(request.POST.get("token", ""))
    sent, typed = _sent_or_typed(request, "agree")
    start = starting_terms(timezone.localtime(), request.household.hold_days)  # type: ignore[attr-defined]
    asked_for = {"person": request.GET.get("person")} | typed
    who = WhoForm(sent, initial=asked_for, find=request.POST.get("find_person", ""))
    terms = TermsForm(sent, initial=start | typed)
    packs = PacksForm(sent, lines=lines_on_offer(), initial=packs_asked_for(request.GET) | typed)
    if sent and all([who.is_valid(), terms.is_valid(), packs.is_valid()]):
        try:
            order = actions.agree_order(
                who.who(),
                packs.wanted(),
                terms.terms(),
                named=packs.named(),
                by=request.user,
                token=request.POST.get("token", ""),
            )
        except ValidationError as refusal:
            terms.refused(refusal, packs)
        else:
            messages.success(request, f"Order {order.number} is agreed and its animals are set aside.")
            return redirect("orders:order", number=order.number)
    page = {"who": who, "terms": terms, "packs": packs, "picked": picked(packs, request.POST.get("find", ""))}
    page["looked"] = "look" in request.POST
    return _form_page(request, "orders/new.html", page, bool(sent))


@keeper_only
def order_page(request: HttpRequest, number: int) -> HttpResponse:
    """Show one order: what is held until when, what it comes to, what may be done."""
    actions.lapse_holds()
    order = _order_or_404(number)
    return render(request, "orders/order.html", _order_facts(request, order))


@keeper_only
def order_change(request: HttpRequest, number: int) -> HttpResponse:
    """Change an order: packs up or down, more packs, prices and terms."""
    form_tokens.seen(request.POST.get("token", ""))
    order = _order_or_404(number)
    sent, typed = _sent_or_typed(request, "change")
    terms = TermsForm(sent, initial=terms_of(order) | typed, runs_out=runs_out(order))
    lines = LinesForm(sent, order=order, initial=typed)
    packs = PacksForm(sent, lines=lines_on_offer(), initial=typed)
    if sent and all([terms.is_valid(), lines.is_valid(), packs.is_valid()]):
        change = lines.change(terms.terms(), packs.wanted(), packs.named())
        try:
            actions.change_order(number, change, by=request.user, token=request.POST.get("token", ""))
        except ChangedMeanwhile as refusal:
            order = _order_or_404(number)
            lines = LinesForm.after_others(request.POST, order, refusal)
        except ValidationError as refusal:
            terms.refused(refusal, packs)
        else:
            messages.success(request, f"Order {number} is changed.")
            return redirect("orders:order", number=number)
    find = request.POST.get("find", "")
    page = {
        "order": order,
        "terms": terms,
        "lines": lines,
        "packs": packs,
        "picked": picked(packs, find, only_asked=True),
        "looked": "look" in request.POST,
    }
    return _form_page(request, "orders/change.html", page, bool(sent))


@keeper_only
def order_cancel(request: HttpRequest, number: int) -> HttpResponse:
    """Cancel an order with a reason."""
    order = _order_or_404(number)
    form = CancelForm(request.POST or None)

    def done() -> str:
        actions.cancel_order(number, form.cleaned_data["reason"], by=request.user, token=request.POST.get("token", ""))
        return f"Order {number} is cancelled. What it still held is free again."

    held = told(held_of(order))
    return _one_form(request, order, form, done, "orders/cancel.html", held=f"{held[:1].upper()}{held[1:]}")


@keeper_only
def order_hold(request: HttpRequest, number: int) -> HttpResponse:
    """Hold an order again whose hold ran out."""
    order = _order_or_404(number)
    start = {"held_until": usual_hold(timezone.localtime(), request.household.hold_days)}  # type: ignore[attr-defined]
    form = HoldForm(request.POST or None, lines=order.lines.all(), initial=start)

    def done() -> str:
        until = end_of(form.cleaned_data["held_until"])
        named = form.named()
        actions.hold_again(number, until, named=named, by=request.user, token=request.POST.get("token", ""))
        return f"Order {number} is held again."

    return _one_form(request, order, form, done, "orders/hold.html")


@keeper_only
def order_pay(request: HttpRequest, number: int) -> HttpResponse:
    """Write down a payment."""
    order = _order_or_404(number)
    bill = bill_of(order)
    start = {"amount": money_due(bill.due), "on": timezone.localdate(), "way": "back" if bill.cancelled else "in"}
    form = PaymentForm(request.POST or None, initial=start)

    def done() -> str:
        paid = actions.record_payment(number, **form.payment(), by=request.user, token=request.POST.get("token", ""))
        currency = request.household.currency  # type: ignore[attr-defined]
        return f"The payment is written down. {after_payment(paid, bill_of(paid), currency)}"

    return _one_form(request, order, form, done, "orders/pay.html", bill=bill)


@keeper_only
def offer_list(request: HttpRequest) -> HttpResponse:
    """Show the packs that lines are sold in."""
    table = OfferTable(offers(), empty_text="No packs yet. Offer one, and the line appears on your lists.")
    in_pages(request, table)
    return render(request, "orders/offers.html", {"table": table})


@keeper_only
def offer_new(request: HttpRequest) -> HttpResponse:
    """Offer a line in a new pack."""
    return _offer_form(request, Offer(), {"line": request.GET.get("line")})


@keeper_only
def offer_edit(request: HttpRequest, pk: int) -> HttpResponse:
    """Change a pack, or withdraw it."""
    return _offer_form(request, get_object_or_404(Offer, pk=pk), {})


def _offer_form(request: HttpRequest, offer: Offer, start: dict[str, Any]) -> HttpResponse:
    form_tokens.seen(request.POST.get("token", ""))
    form = OfferForm(request.POST or None, instance=offer, initial=start)
    if request.method == "POST" and form.is_valid():
        answer = reverse("orders:offers")
        try:
            actions.save_offer(form.instance, by=request.user, token=request.POST.get("token", ""), answer=answer)
        except ValidationError as refusal:
            form.add_error(None, refusal)
        else:
            messages.success(request, f"{form.instance}: kept.")
            return redirect(answer)
    return _form_page(request, "orders/offer.html", {"form": form, "offer": offer}, request.method == "POST")


def _one_form(request: HttpRequest, order: Order, form: Any, done: Any, template: str, **page: Any) -> HttpResponse:
    """Show one small form of an order; when it is sent, do it, say so and go back to the order."""
    form_tokens.seen(request.POST.get("token", ""))
    if request.method == "POST" and form.is_valid():
        try:
            messages.success(request, done())
            return redirect("orders:order", number=order.number)
        except ValidationError as refusal:
            form.add_error(None, refusal)
    return _form_page(request, template, {"order": order, "form": form, **page}, request.method == "POST")


def _sent_or_typed(request: HttpRequest, button: str) -> tuple[Any, dict[str, Any]]:
    """Return what was sent by the button that acts, or what is typed so far when only lines were looked for."""
    if button in request.POST:
        return request.POST, {}
    return None, request.POST.dict()


def _form_page(request: HttpRequest, template: str, page: dict[str, Any], refused: bool) -> HttpResponse:
    return render(request, template, page, status=REFUSED if refused else 200)


def _order_or_404(number: int) -> Order:
    order = whole(Order.objects.filter(number=number)).first()
    if order is None:
        raise Http404(f"There is no order {number} in the book.")
    return order


def _order_facts(request: HttpRequest, order: Order) -> dict[str, Any]:
    bill, now = bill_of(order), timezone.now()
    currency = request.household.currency  # type: ignore[attr-defined]
    return {
        "order": order,
        "bill": bill,
        "bill_said": in_words(bill, currency),
        "standing": standing(order, bill, now),
        "lines": order_lines(order),
        "is_open": order.status in OPEN,
        "has_lapsed": order.status == Order.Status.LAPSED,
        "boxes": boxes_of(order),
        "legal": movement_block.ask_order(order, now) if order.status in OPEN else None,
    }
