"""What the keeper does with packs and orders."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from breeder.base.action_frame import action
from breeder.base.queries import household
from breeder.base.steps import log
from breeder.cultures import frozen_lines
from breeder.cultures import rules as surplus
from breeder.cultures import steps as cultures
from breeder.cultures.queries.stock import stock_by_line, stock_of
from breeder.orders import movement_block, steps
from breeder.orders.models import Offer, Order, OrderLine, Payment
from breeder.orders.queries.orders import bill_of, due_to_lapse, line_ids_of, offers_by_id
from breeder.orders.rules.money import refuse_amount
from breeder.orders.rules.order_status import (
    NotLikeThis,
    Terms,
    Who,
    refuse_cancel,
    refuse_change,
    refuse_hold_again,
    refuse_tub,
    refuse_unless_open,
    want_again,
    want_more,
)
from breeder.orders.rules.packs import Wanted, refuse_packs, told, want_of


@dataclass(frozen=True)
class LineChange:
    """What a line of an order should become; 0 packs takes it off."""

    packs: int
    price: Decimal | None


@dataclass(frozen=True)
class Change:
    """What an order should become: its lines by their id, packs put on top, the terms, and names of frozen lines."""

    terms: Terms
    lines: Mapping[int, LineChange] = field(default_factory=dict)
    added: Sequence[Wanted] = ()
    named: Collection[str] = ()


def _lock_lines(_: Who, wanted: Sequence[Wanted], *__: Any, **___: Any) -> None:
    cultures.lock_lines(_line_ids(wanted))


def _lock_order_and_lines(number: int, change: Change) -> Order:
    return steps.take_order(number, _line_ids(change.added))


def _line_ids(wanted: Iterable[Wanted]) -> set[int]:
    return line_ids_of(want.offer_id for want in wanted)


@action()
def save_offer(offer: Offer, *, by: Any) -> Offer:
    """Keep a pack that a line is sold in, new or changed."""
    did = "changed a pack" if offer.pk else "offered a pack"
    offer.full_clean()
    offer.save()
    price = "price on request" if offer.price is None else f"{offer.price:.2f} {household().currency}"
    state = "" if offer.active else ", no longer offered"
    log(did, str(offer), f"{offer}: {price}, {offer.overcount} on top{state}.", by=by)
    return offer


@action(lock=_lock_lines)
def agree_order(who: Who, wanted: Sequence[Wanted], terms: Terms, *, named: Collection[str] = (), by: Any) -> Order:
    """Promise all packs of a new order at once, or none: refuses with every shortage named.

    `named` are the names that were typed of frozen lines.
    """
    now = timezone.now()
    steps.lapse(now, _line_ids(wanted))
    offers = _offers_or_refuse(wanted)
    _require(wanted, offers, named)
    person, address = steps.person_and_address(who, terms.to)
    species = [offer.line.species for offer in offers.values()]
    answer = movement_block.ask(species, address, person, timezone.localdate(now), terms.promised_by)
    movement_block.refuse_blocked(answer, looked_up=terms.looked_up)
    order = steps.new_order(
        person=person,
        address=address,
        agreed_at=now,
        held_until=terms.held_until,
        promised_by=terms.promised_by,
        postage=terms.postage,
        note=terms.note,
        by=by,
    )
    added = [steps.promise_packs(order, offers[want.offer_id], want, at=now) for want in wanted]
    steps.settle(steps.fresh(order.number), at=now)
    packs = ", ".join(str(line) for line in added)
    sentence = f"Order {order.number} for {person}: {packs}."
    log("agreed an order", str(order), sentence, by=by, facts=movement_block.on_record(answer))
    return order


@action(lock=_lock_order_and_lines)
def change_order(order: Order, change: Change, *, by: Any) -> Order:
    """Bring an order to what is now agreed: promises exactly the difference, releases exactly what falls away."""
    now = timezone.now()
    order = steps.lapse_beside(order, now, _line_ids(change.added))
    refuse_unless_open(order)
    offers = _offers_or_refuse(change.added)
    after = {pk: line.packs for pk, line in change.lines.items()}
    refuse_change(order.lines.all(), after, bool(change.added))
    asked = bool(change.terms.to or change.added) or any(
        _packs_after(line, change) > line.packs for line in order.lines.all()
    )
    before = movement_block.ask_order(order, now)
    # What falls away is free for what is put on top; a refusal takes both back.
    said = _resize_lines(order, change, now, fewer=True)
    _require_more(order, change, offers)
    # The terms first: what is promised anew runs out with the hold as it is from now on.
    steps.set_terms(order, change.terms)
    said += _resize_lines(order, change, now, fewer=False)
    said += [f"+ {steps.promise_packs(order, offers[want.offer_id], want, at=now)}" for want in change.added]
    answer = movement_block.ask_order(steps.settle(steps.fresh(order.number), at=now), now)
    if asked:
        movement_block.refuse_blocked(answer, looked_up=change.terms.looked_up, asked_before=before)
    sentence = f"Order {order.number}: {'; '.join(said) or 'packs as before'}."
    log("changed an order", str(order), sentence, by=by, facts=movement_block.on_record(answer))
    return order


@action(lock=steps.lock_order)
def cancel_order(order: Order, reason: str, *, by: Any) -> Order:
    """End an order with a reason: releases exactly what it still holds; what was packed stays packed."""
    refuse_cancel(order, reason)
    now = timezone.now()
    released = steps.release_all(order, at=now)
    order.status, order.ended_at, order.ended_because = Order.Status.CANCELLED, now, reason
    order.save(update_fields=["status", "ended_at", "ended_because"])
    sentence = f"Order {order.number} for {order.person} was cancelled; {told(released)} free again."
    log("cancelled an order", str(order), sentence, by=by, reason=reason, facts={"released": released})
    return order


@action(lock=steps.lock_order)
def hold_again(order: Order, held_until: datetime, *, named: Collection[str] = (), by: Any) -> Order:
    """Promise an order once more whose hold ran out; refuses with every shortage named."""
    now = timezone.now()
    order = steps.lapse_beside(order, now)
    refuse_hold_again(order)
    wants = [(line, want) for line in order.lines.all() if (want := want_again(line))]
    _require_names([line.offer for line, _ in wants], named)
    surplus.require([want for _, want in wants], stock_by_line({want.line_id for _, want in wants}))
    movement_block.refuse_blocked(movement_block.ask_order(order, now), looked_up=True)
    steps.reopen(order, held_until)
    for line, _ in wants:
        cultures.hold_anew(line.promise, at=now, expires_at=held_until)
    steps.settle(steps.fresh(order.number), at=now)
    log("held an order again", str(order), f"Order {order.number} for {order.person} is held again.", by=by)
    return order


@action(lock=steps.lock_order)
def record_payment(
    order: Order,
    amount: Decimal,
    on: date,
    *,
    given_back: bool = False,
    more_is_meant: bool = False,
    reference: str = "",
    by: Any,
) -> Order:
    """Write down money received or given back; an order paid in full is held until it is packed."""
    currency = household().currency
    if refusal := refuse_amount(bill_of(order), amount, given_back, more_is_meant, currency):
        raise NotLikeThis(refusal)
    Payment.objects.create(order=order, amount=-amount if given_back else amount, on=on, reference=reference)
    order = steps.settle(steps.fresh(order.number), at=timezone.now())
    what = "given back for" if given_back else "received for"
    log(
        "wrote down a payment",
        str(order),
        f"{amount:.2f} {currency} {what} order {order.number} of {order.person}.",
        by=by,
    )
    return order


@action(lock=steps.lock_order)
def name_tub(order: Order, order_line_id: int, culture_id: int | None, *, by: Any) -> Order:
    """Let what an order holds come out of another tub of its line, or with None out of any of them."""
    refuse_unless_open(order)
    line = next((line for line in order.lines.all() if line.pk == order_line_id and line.promise), None)
    if line is None:
        raise NotLikeThis(f"This is not a line of order {order.number} any more. Look at the order again.")
    if refusal := refuse_tub(line.promise, stock_of(line.offer.line_id), culture_id):
        raise NotLikeThis(refusal)
    steps.name_tub(line, culture_id)
    said = f"out of {line.culture}" if line.culture else "out of any tub of the line"
    log("named a tub", str(order), f"Order {order.number}: {line} comes {said}.", by=by)
    return order


def lapse_holds(*, at: datetime | None = None) -> int:
    """End every unpaid hold that is over and return how many; safe to call as often as anybody likes."""
    at = at or timezone.now()
    if not due_to_lapse(at).exists():
        return 0
    with transaction.atomic(durable=True):
        return len(steps.lapse(at))


def _offers_or_refuse(wanted: Sequence[Wanted]) -> dict[int, Offer]:
    """Return the packs as they are now; refuses those that were withdrawn while the form was open."""
    offers = offers_by_id(want.offer_id for want in wanted)
    refusals = [
        refuse_packs(offers[want.offer_id], want.packs)
        if want.offer_id in offers
        else "One of the packs is no longer in the book. Choose another."
        for want in wanted
    ]
    if any(refusals):
        raise ValidationError([NotLikeThis(refusal) for refusal in refusals if refusal])
    return offers


def _require(wanted: Sequence[Wanted], offers: Mapping[int, Offer], named: Collection[str]) -> None:
    if not wanted:
        raise NotLikeThis("No packs are chosen. Write how many beside at least one pack.")
    _require_names(offers.values(), named)
    wants = [want_of(offers[want.offer_id], want.packs, culture_id=want.culture_id) for want in wanted]
    surplus.require(wants, stock_by_line({want.line_id for want in wants}))


def _require_more(order: Order, change: Change, offers: Mapping[int, Offer]) -> None:
    raised = [(line, want) for line in order.lines.all() if (want := want_more(line, _packs_after(line, change)))]
    _require_names([*(line.offer for line, _ in raised), *offers.values()], change.named)
    more = [want for _, want in raised]
    more += [want_of(offers[want.offer_id], want.packs, culture_id=want.culture_id) for want in change.added]
    if more:
        surplus.require(more, stock_by_line({want.line_id for want in more}))


def _require_names(offers: Iterable[Offer], named: Collection[str]) -> None:
    lines = {offer.line_id: offer.line for offer in offers}
    frozen_lines.require_named(lines.values(), named, "to promise animals of", field="")


def _packs_after(line: OrderLine, change: Change) -> int:
    return change.lines[line.pk].packs if line.pk in change.lines else line.packs


def _resize_lines(order: Order, change: Change, at: datetime, *, fewer: bool) -> list[str]:
    """Bring those lines that go down to what they should become, or all the others; return what of them changed."""
    said = []
    for line in order.lines.all():
        if line.pk not in change.lines:
            continue
        after = change.lines[line.pk]
        if fewer != (after.packs < line.packs):
            continue
        if after.packs != line.packs:
            said.append(f"{line.packs} → {after.packs} × {line.offer}")
        line.price = after.price
        steps.resize_line(line, after.packs, at=at)
    return said
