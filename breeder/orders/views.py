"""Pages of packs and orders; all of them belong to the keeper, since they show people and money."""

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone

from breeder.base.csv_export import csv_answer
from breeder.base.paging import in_pages
from breeder.base.roles import keeper_only
from breeder.base.submit import page, submit, typed
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
from breeder.orders.tables import ORDER_COLUMNS, OfferTable, OrderRows, OrderTable, order_cells


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
    sent, typed_so_far = _sent_or_typed(request, "agree")
    start = starting_terms(timezone.localtime(), request.household.hold_days)  # type: ignore[attr-defined]
    asked_for = {"person": request.GET.get("person")} | typed_so_far
    who = WhoForm(sent, initial=asked_for, find=request.POST.get("find_person", ""))
    terms = TermsForm(sent, initial=start | typed_so_far)
    packs = PacksForm(sent, lines=lines_on_offer(), initial=packs_asked_for(request.GET) | typed_so_far)
    answer = sent and submit(
        request,
        lambda **how: actions.agree_order(who.who(), packs.wanted(), terms.terms(), named=packs.named(), **how),
        who,
        terms,
        packs,
        to=_page_of,
        done=lambda order: f"Order {order.number} is agreed and its animals are set aside.",
        refuse=lambda refusal: terms.refused(refusal, packs),
    )
    return answer or _order_form(request, "orders/new.html", sent, who=who, terms=terms, packs=packs)


@keeper_only
def order_page(request: HttpRequest, number: int) -> HttpResponse:
    """Show one order: what is held until when, what it comes to, what may be done."""
    actions.lapse_holds()
    order = _order_or_404(number)
    return render(request, "orders/order.html", _order_facts(request, order))


@keeper_only
def order_change(request: HttpRequest, number: int) -> HttpResponse:
    """Change an order: packs up or down, more packs, prices and terms."""
    order = _order_or_404(number)
    sent, typed_so_far = _sent_or_typed(request, "change")
    terms = TermsForm(sent, initial=terms_of(order) | typed_so_far, runs_out=runs_out(order))
    lines = LinesForm(sent, order=order, initial=typed_so_far)
    packs = PacksForm(sent, lines=lines_on_offer(), initial=typed_so_far)
    answer = sent and submit(
        request,
        lambda **how: actions.change_order(number, lines.change(terms.terms(), packs.wanted(), packs.named()), **how),
        lines,
        terms,
        packs,
        to=_page_of(order),
        done=f"Order {number} is changed.",
        refuse=lambda refusal: terms.refused(refusal, packs),
    )
    return answer or _order_form(
        request, "orders/change.html", sent, order=lines.order, lines=lines, terms=terms, packs=packs
    )


@keeper_only
def order_cancel(request: HttpRequest, number: int) -> HttpResponse:
    """Cancel an order with a reason."""
    order, form = _order_or_404(number), CancelForm(typed(request))
    answer = submit(
        request,
        lambda **how: actions.cancel_order(number, form.cleaned_data["reason"], **how),
        form,
        to=_page_of(order),
        done=f"Order {number} is cancelled. What it still held is free again.",
    )
    held = told(held_of(order))
    return answer or page(request, "orders/cancel.html", order=order, form=form, held=f"{held[:1].upper()}{held[1:]}")


@keeper_only
def order_hold(request: HttpRequest, number: int) -> HttpResponse:
    """Hold an order again whose hold ran out."""
    order = _order_or_404(number)
    start = {"held_until": usual_hold(timezone.localtime(), request.household.hold_days)}  # type: ignore[attr-defined]
    form = HoldForm(typed(request), lines=order.lines.all(), initial=start)
    answer = submit(
        request,
        lambda **how: actions.hold_again(number, end_of(form.cleaned_data["held_until"]), named=form.named(), **how),
        form,
        to=_page_of(order),
        done=f"Order {number} is held again.",
    )
    return answer or page(request, "orders/hold.html", order=order, form=form)


@keeper_only
def order_pay(request: HttpRequest, number: int) -> HttpResponse:
    """Write down a payment."""
    order = _order_or_404(number)
    bill, currency = bill_of(order), request.household.currency  # type: ignore[attr-defined]
    start = {"amount": money_due(bill.due), "on": timezone.localdate(), "way": "back" if bill.cancelled else "in"}
    form = PaymentForm(typed(request), initial=start)
    answer = submit(
        request,
        lambda **how: actions.record_payment(number, **form.payment(), **how),
        form,
        to=_page_of(order),
        done=lambda paid: f"The payment is written down. {after_payment(paid, bill_of(paid), currency)}",
    )
    return answer or page(request, "orders/pay.html", order=order, form=form, bill=bill)


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
    form = OfferForm(typed(request), instance=offer, initial=start)
    answer = submit(
        request,
        lambda **how: actions.save_offer(form.instance, **how),
        form,
        to="orders:offers",
        done=lambda offer: f"{offer}: kept.",
    )
    return answer or page(request, "orders/offer.html", form=form, offer=offer)


def _sent_or_typed(request: HttpRequest, button: str) -> tuple[Any, dict[str, Any]]:
    """Return what was sent by the button that acts, or what is typed so far when only lines were looked for."""
    if button in request.POST:
        return request.POST, {}
    return None, request.POST.dict()


def _order_form(request: HttpRequest, template: str, sent: Any, **shown: Any) -> HttpResponse:
    """Show the form of a whole order; 422 only after the button that acts, not after one that looks for lines."""
    picks = picked(shown["packs"], request.POST.get("find", ""), only_asked="order" in shown)
    shown |= {"picked": picks, "looked": "look" in request.POST}
    return page(request, template, **shown) if sent else render(request, template, shown)


def _page_of(order: Order) -> str:
    return reverse("orders:order", args=[order.number])


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
