"""Inner parts of actions on orders; all need the caller's transaction."""

from collections import Counter
from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F, Max, ProtectedError
from django.utils import timezone

from breeder.base.queries import household
from breeder.base.steps import log
from breeder.cultures import steps as cultures
from breeder.cultures.models import Culture, Promise
from breeder.cultures.rules import Want
from breeder.orders.models import Offer, Order, OrderLine
from breeder.orders.queries.orders import bill_of, due_to_lapse, whole
from breeder.orders.rules.order_status import (
    OPEN,
    NotLikeThis,
    Terms,
    Who,
    end_of,
    usual_hold,
    want_all,
    want_less,
    want_more,
)
from breeder.orders.rules.packs import Wanted, told
from breeder.people import steps as people
from breeder.people.models import Address, Person
from breeder.people.rules import Destination

# Tries at the next number; each fails only when another order took it in the same moment.
NUMBER_TRIES = 50


def line_ids_of(order_number: int) -> set[int]:
    """Return the lines that an order takes animals from."""
    return set(OrderLine.objects.filter(order__number=order_number).values_list("offer__line_id", flat=True))


def take_order(number: int, more_lines: Iterable[int] = ()) -> Order:
    """Lock an order's lines and the order itself, then read it. Raises Order.DoesNotExist."""
    cultures.lock_lines(line_ids_of(number) | set(more_lines))
    # The same lock one row further: two people changing one order wait for each other.
    Order.objects.filter(number=number).update(status=F("status"))
    return fresh(number)


def lock_order(number: int, *_: Any, **__: Any) -> Order:
    """Do the same for an action on one order, whatever else it is told."""
    return take_order(number)


def fresh(number: int) -> Order:
    """Return an order as the database has it now, with all that belongs to it. Raises Order.DoesNotExist."""
    return whole(Order.objects.filter(number=number)).get()


def new_order(**values: Any) -> Order:
    """Make an order with the next number: plain, increasing, without gaps, never used again.

    The number's own unique index is the lock. Whoever comes second waits for the first to commit or to give up,
    and then takes the next number, or the one that was given up.
    """
    for _ in range(NUMBER_TRIES):
        last = Order.objects.aggregate(last=Max("number"))["last"] or 0
        try:
            with transaction.atomic():
                return Order.objects.create(number=last + 1, **values)
        except IntegrityError:
            if not Order.objects.filter(number=last + 1).exists():
                raise
    raise NotLikeThis("Too many orders were agreed in the same moment. Send this one again; nothing was changed.")


def promise_packs(order: Order, offer: Offer, wanted: Wanted, *, at: datetime) -> OrderLine:
    """Add packs to an order and set their animals aside; the caller holds the line's lock and has checked."""
    line = OrderLine(
        order=order,
        offer=offer,
        culture_id=wanted.culture_id,
        packs=wanted.packs,
        animals=offer.number,
        overcount=offer.overcount,
        price=offer.price if wanted.price is None else wanted.price,
    )
    return promise(order, line, want_all(line), at=at)


def promise(order: Order, line: OrderLine, want: Want, *, at: datetime) -> OrderLine:
    """Set aside what a line wants and keep the line with its new promise."""
    line.promise = cultures.set_aside(
        want.line_id,
        want.stage,
        want.number,
        males=want.males,
        females=want.females,
        culture_id=want.culture_id,
        at=at,
        expires_at=None if order.paid_at else order.held_until,
        paid_at=order.paid_at,
    )
    line.save()
    return line


def name_tub(line: OrderLine, culture_id: int | None) -> None:
    """Let a line and its promise come out of another tub, or out of any; the caller holds the lock and has checked."""
    line.culture = Culture.objects.get(pk=culture_id) if culture_id else None
    line.save(update_fields=["culture"])
    if line.promise:
        cultures.name_tub(line.promise, culture_id)


def resize_line(line: OrderLine, packs: int, *, at: datetime) -> None:
    """Bring a line to this many packs: sets exactly the difference aside, or releases exactly what falls away.

    The caller holds the line's lock and has checked. A line that is wholly packed stays as it is; more is a new line.
    """
    held = line.promise if line.promise and line.promise.state == Promise.State.HELD else None
    more = want_more(line, packs)
    if more and held:
        number = held.number + more.number
        cultures.resize(held, number, males=held.males + more.males, females=held.females + more.females)
    elif more:
        _add_like(line, packs - line.packs, at)
        packs = line.packs
    elif held and packs < line.packs:
        _hold_less(held, want_less(line, packs), packs, at)
    line.packs = packs
    _keep_or_take_off(line)


def _add_like(line: OrderLine, packs: int, at: datetime) -> None:
    agreed = {name: getattr(line, name) for name in ("order", "offer", "culture_id", "animals", "overcount", "price")}
    more = OrderLine(packs=packs, **agreed)
    promise(line.order, more, want_all(more), at=at)


def _hold_less(held: Promise, less: Want, packs: int, at: datetime) -> None:
    left = cultures.left_of(held, less.number, less.males, less.females)
    if left.number:
        cultures.resize(held, left.number, males=left.males, females=left.females)
    elif packs:
        cultures.finish(held, at=at)
    else:
        cultures.release(held, at=at)


def _keep_or_take_off(line: OrderLine) -> None:
    if line.packs:
        line.save()
        return
    try:
        line.delete()
    except ProtectedError:
        # A box was planned with it: the line stays, of no packs, so that the box still says what it was for.
        line.save()


def release_all(order: Order, *, at: datetime) -> Counter[str]:
    """Release what an order still holds and return how many of each stage that was."""
    released: Counter[str] = Counter()
    for line in order.lines.all():
        if line.promise and line.promise.state == Promise.State.HELD:
            released[line.promise.stage] += line.promise.number
            cultures.release(line.promise, at=at)
    return released


def lapse(at: datetime, line_ids: Iterable[int] | None = None) -> list[Order]:
    """End the unpaid holds that are over (of these lines only, where given) and return those orders."""
    lapsed = []
    for number in due_to_lapse(at, line_ids).order_by("number").values_list("number", flat=True):
        # Claimed by one conditional update: of two hands that lapse it together, or one that pays, one wins.
        mine = Order.objects.filter(number=number, status=Order.Status.HELD, paid_at=None, held_until__lte=at)
        if not mine.update(status=Order.Status.LAPSED, ended_at=at, ended_because="The hold ran out unpaid."):
            continue
        order = fresh(number)
        released = release_all(order, at=at)
        log(
            "hold ran out",
            f"order {number}",
            f"The hold of order {number} for {order.person} ran out unpaid; {told(released)} free again.",
            by=None,
            facts={"released": released},
        )
        lapsed.append(order)
    return lapsed


def lapse_beside(order: Order, at: datetime, more_lines: Iterable[int] = ()) -> Order:
    """End the unpaid holds that are over on an order's lines, its own too, and return the order as it is then."""
    lapse(at, line_ids_of(order.number) | set(more_lines))
    return fresh(order.number)


def set_terms(order: Order, terms: Terms) -> None:
    """Write down what was agreed besides the packs; an unpaid order's promises run out with its hold."""
    order.promised_by, order.postage, order.note = terms.promised_by, terms.postage, terms.note
    if terms.to:
        order.address = people.keep_address(order.person, terms.to)
    if order.paid_at is None and terms.held_until:
        _hold_until(order, terms.held_until)
    order.save()


def reopen(order: Order, held_until: datetime) -> None:
    """Make an order whose hold ran out one that is held again."""
    order.status, order.held_until, order.ended_at, order.ended_because = Order.Status.HELD, held_until, None, ""
    order.save()


def settle(order: Order, *, at: datetime) -> Order:
    """Let what a held order comes to, and what is paid of it, decide whether it is paid and when its hold runs out.

    Call it after whatever changes either. With money in it, or nothing to pay, it never runs out by itself; once all
    of the money is given back, the usual days begin anew.
    """
    if order.status != Order.Status.HELD:
        return order
    bill = bill_of(order)
    if bill.is_settled and order.payments.all():
        return _mark_paid(order, at)
    if bill.never_runs_out != (order.held_until is None):
        again = end_of(usual_hold(timezone.localtime(at), household().hold_days))
        _hold_until(order, None if bill.never_runs_out else again)
        order.save(update_fields=["held_until"])
    return order


def _hold_until(order: Order, until: datetime | None) -> None:
    order.held_until = until
    for line in order.lines.all():
        if line.promise and line.promise.state == Promise.State.HELD:
            cultures.hold_until(line.promise, until)


def _mark_paid(order: Order, at: datetime) -> Order:
    order.status, order.paid_at = Order.Status.PAID, at
    order.save(update_fields=["status", "paid_at"])
    for line in order.lines.all():
        if line.promise and line.promise.state == Promise.State.HELD:
            cultures.mark_paid(line.promise, at=at)
    return order


def person_and_address(who: Who, to: Destination | None) -> tuple[Person, Address | None]:
    """Return whom an order is for and where it goes: the address given, else the one in the book."""
    if who.person_id is None:
        person = people.put_on_file(name=who.new_name, email=who.email)
    else:
        person = Person.objects.filter(pk=who.person_id, removed_at=None).first()
        if person is None:
            raise NotLikeThis("That person is no longer in the book. Choose somebody else, or write a name.")
    return person, people.keep_address(person, to) if to else person.addresses.filter(is_current=True).first()


def mark_sent(order: Order, *, at: datetime) -> None:
    """Note that the last box of an order has left; the box's own action calls this."""
    Order.objects.filter(pk=order.pk, status__in=OPEN).update(status=Order.Status.SENT, ended_at=at)
