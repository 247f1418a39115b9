"""What may still be done with an order, and what a change of it asks of the stock."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.utils import timezone

from breeder.base.dates import day_said
from breeder.cultures.line_stock import LineStock
from breeder.cultures.models import Promise
from breeder.cultures.phrases import animals
from breeder.cultures.rules import Want
from breeder.orders.models import Order, OrderLine
from breeder.orders.rules.money import NOTHING, Bill
from breeder.orders.rules.packs import MOST_PACKS, want_of
from breeder.people.rules import Destination

# Posting within 30 days unless another day was promised: 16 CFR 435 (USA), from memory. An example to be checked.
DAYS_TO_POST = 30
# Days further away than this are a slip of the finger.
FURTHEST_DAYS = 366
END_OF_DAY = time(23, 59, 59)
OPEN = (Order.Status.HELD, Order.Status.PAID)


class NotLikeThis(ValidationError):
    """A refusal in whole sentences: what is asked for does not fit the order as it stands."""


@dataclass(frozen=True)
class Terms:
    """What was agreed besides the packs."""

    # None where it never runs out by itself.
    held_until: datetime | None
    promised_by: date | None = None
    postage: Decimal = NOTHING
    note: str = ""
    to: Destination | None = None
    # Whether the keeper answered what the book leaves open of where it may go; a page asks first and says so here.
    looked_up: bool = True


@dataclass(frozen=True)
class Who:
    """Whom the order is for: somebody in the book, or somebody new by name."""

    person_id: int | None = None
    new_name: str = ""
    email: str = ""


@dataclass(frozen=True)
class Standing:
    """How an order stands: the answer of its page, and what follows from it."""

    answer: str
    follows: str
    is_over: bool = False


def hold_ran_out(order: Order, now: datetime) -> bool:
    """Return whether an unpaid hold is over, so that what it held may go to somebody else."""
    return (
        order.status == Order.Status.HELD
        and order.paid_at is None
        and order.held_until is not None
        and order.held_until <= now
    )


def runs_out(order: Order) -> bool:
    """Return whether an unpaid hold ends by itself some day; with money in it, or nothing to pay, it never does."""
    return order.paid_at is None and order.held_until is not None


def usual_hold(now: datetime, hold_days: int) -> date:
    """Return the day to whose end an unpaid order holds animals."""
    return (now + timedelta(days=hold_days)).date()


def end_of(day: date) -> datetime:
    """Return the last second of a day in the household's zone."""
    return timezone.make_aware(datetime.combine(day, END_OF_DAY))


def refuse_unless_open(order: Order) -> None:
    """Refuse to change an order that is over."""
    if order.status == Order.Status.SENT:
        raise NotLikeThis(f"Order {order.number} was already sent, so it stays as it was. Make a new order for more.")
    if order.status == Order.Status.CANCELLED:
        raise NotLikeThis(f"Order {order.number} was cancelled, so nothing is held for it. Make a new order.")
    if order.status == Order.Status.LAPSED:
        raise NotLikeThis(
            f"The hold of order {order.number} ran out, so nothing is held for it. Hold it again first, then change it."
        )


def taken_of(line: OrderLine) -> int:
    """Return how many animals of an order line have left its promise, by packing."""
    agreed = line.packs * (line.animals + line.overcount)
    if line.promise is None:
        return 0
    return agreed if line.promise.state == line.promise.State.PACKED else max(0, agreed - line.promise.number)


def fewest_packs(line: OrderLine) -> int:
    """Return the number of packs that a line cannot go below, because they are packed already."""
    return -(-taken_of(line) // (line.animals + line.overcount))


def want_more(line: OrderLine, packs_after: int) -> Want | None:
    """Return what a line asks for on top of what it was agreed to take; None when it asks for no more."""
    return _want_packs(line, packs_after - line.packs) if packs_after > line.packs else None


def want_less(line: OrderLine, packs_after: int) -> Want:
    """Return what falls away from a line that goes down to this many packs."""
    return _want_packs(line, line.packs - packs_after)


def want_all(line: OrderLine) -> Want:
    """Return all that a line is agreed to take, overcount included."""
    return _want_packs(line, line.packs)


def want_again(line: OrderLine) -> Want | None:
    """Return what a line held when its hold ran out; None when nothing of it was released then.

    A line of no packs was taken off before, and stays only for the box that was planned with it.
    """
    was = line.promise
    if not line.packs or was is None or was.state != was.State.RELEASED:
        return None
    return Want(was.line_id, was.stage, was.number, males=was.males, females=was.females, culture_id=was.culture_id)


def _want_packs(line: OrderLine, packs: int) -> Want:
    number = packs * (line.animals + line.overcount)
    return want_of(line.offer, packs, number=number, culture_id=line.culture_id)


def refuse_change(lines: Sequence[OrderLine], packs_after: Mapping[int, int], adds: bool) -> None:
    """Refuse fewer packs than are packed already, absurd numbers, and an order of nothing."""
    refusals = []
    for line in lines:
        packs, fewest = packs_after.get(line.pk, line.packs), fewest_packs(line)
        if packs > MOST_PACKS or packs < 0:
            refusals.append(f"{packs} packs of {line.offer} is not a number to agree on. Write 0 to {MOST_PACKS}.")
        elif packs < fewest:
            many, are = ("pack", "is") if fewest == 1 else ("packs", "are")
            already = f"{fewest} {many} of {line.offer} {are}"
            refusals.append(f"{already} packed already. Write {fewest} or more, or unpack the box first.")
    if not refusals and not adds and not any(packs_after.get(line.pk, line.packs) for line in lines):
        refusals.append("That would leave an order of nothing. Cancel it instead, with a reason.")
    if refusals:
        raise ValidationError([NotLikeThis(refusal) for refusal in refusals])


def refuse_cancel(order: Order, reason: str) -> None:
    """Refuse to cancel what is over, or without a reason."""
    if order.status in (Order.Status.SENT, Order.Status.CANCELLED):
        refuse_unless_open(order)
    if not reason.strip():
        raise NotLikeThis("Write why the order is cancelled; the reason is kept in the log.")


def refuse_tub(promise: Promise, stock: LineStock, culture_id: int | None) -> str:
    """Return why a promise cannot come out of this tub; nothing when it can. None is any tub of the line."""
    if promise.state != promise.State.HELD:
        return "Nothing is held for this line of the order any more, so no tub can be named for it."
    if culture_id is None or culture_id == promise.culture_id:
        return ""
    stage = stock.stages.get(promise.stage)
    tub = stage.tub(culture_id) if stage else None
    if tub is None or not tub.gives:
        return f"That tub gives no {promise.stage} of {stock.name}. Choose another, or leave the tub open."
    if tub.free_alone < promise.number:
        return (
            f"{animals(promise.number, promise.stage)} {'is' if promise.number == 1 else 'are'} promised, and only "
            f"{tub.free_alone} can be spared from tub {tub.number}. Choose another tub, or leave the tub open."
        )
    return ""


def refuse_hold_again(order: Order) -> None:
    """Refuse to hold again what is still held, or over for another reason, or for somebody who was removed."""
    if order.status in OPEN:
        raise NotLikeThis(f"Order {order.number} is still {order.status}, so there is nothing to hold again.")
    if order.status != Order.Status.LAPSED:
        refuse_unless_open(order)
    if order.person.removed_at is not None:
        raise NotLikeThis(
            f"Whom order {order.number} was for is no longer in the book, so there is no address to send it to. Make a "
            "new order."
        )


def was_given_back(order: Order) -> bool:
    """Return whether any money of an order was given back."""
    return any(payment.amount < 0 for payment in order.payments.all())


def standing(order: Order, bill: Bill, now: datetime) -> Standing:
    """Return how an order stands, as its page says it first."""
    until, ended = day_said(order.held_until), day_said(order.ended_at)
    if order.status == Order.Status.SENT:
        return Standing("Sent", f"Its last box was sent on {ended}." if ended else "Its last box was sent.")
    if order.status == Order.Status.CANCELLED:
        return Standing("Cancelled", f"On {ended}, because: {order.ended_because}")
    if order.status == Order.Status.LAPSED or hold_ran_out(order, now):
        return Standing("The hold ran out", f"It was held unpaid until {until}; its animals are free again.", True)
    if order.status == Order.Status.PAID:
        said = "It is paid, so its animals are held until they are packed."
        back = "since money was given back" if was_given_back(order) else "since it was changed"
        return Standing("Paid", f"{said} {bill.due:.2f} is open {back}." if bill.due > 0 else said)
    if order.held_until is None:
        why = "Money is in it" if bill.paid > 0 else "Nothing is to be paid for it"
        return Standing("Held", f"{why}, so it never runs out by itself. To free its animals, cancel it.")
    return Standing(f"Held until {until}", "Unpaid. When that day is over its animals are free again.")


def after_payment(order: Order, bill: Bill, currency: str) -> str:
    """Return what a payment changed, as a sentence."""
    if order.status == Order.Status.PAID:
        return f"Order {order.number} is paid, so its animals are held until they are packed."
    if order.status == Order.Status.LAPSED:
        return "The hold of this order had run out, so nothing is held for it: hold it again, or give the money back."
    if order.status == Order.Status.CANCELLED:
        return "The order was cancelled before, so nothing is held for it."
    if order.held_until is not None:
        until = day_said(order.held_until)
        return f"No money is in the order any more, so its animals are held until {until} and then free again."
    held = "Its animals stay held; if nothing more comes, cancel it."
    if bill.unpriced:
        return f"The order is not paid in full until every line has a price: write it under “Change”. {held}"
    return f"{bill.due:.2f} {currency} is still open. {held}" if bill.due > 0 else ""
