"""Changing, paying, cancelling and lapsing release exactly what they should."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from breeder.cultures import steps as cultures
from breeder.cultures.models import Promise
from breeder.orders import actions
from breeder.orders.actions import Change, LineChange
from breeder.orders.models import Order
from breeder.orders.rules import Wanted
from tests.orders.stand import agree, counted_line, free, pack, terms

pytestmark = pytest.mark.django_db


def change(order: Order, packs: int, *added: Wanted) -> None:
    line = order.lines.get()
    actions.change_order(order.number, Change(terms(), {line.pk: LineChange(packs, line.price)}, added), by=None)


def test_more_and_fewer_packs_move_exactly_the_difference() -> None:
    harbour = counted_line("Harbour", 60)
    order = agree((pack(harbour), 2))
    change(order, 3)
    assert free(harbour) == 60 - 36
    change(order, 1)
    assert free(harbour) == 60 - 12


def test_a_change_that_cannot_be_spared_changes_nothing() -> None:
    harbour = counted_line("Harbour", 30)
    order = agree((pack(harbour), 2))
    with pytest.raises(ValidationError):
        change(order, 3)
    assert free(harbour) == 6
    assert order.lines.get().packs == 2


def test_a_line_added_later_is_promised_too() -> None:
    harbour, rook = counted_line("Harbour", 60), counted_line("Rook", 60)
    order = agree((pack(harbour), 1))
    change(order, 1, Wanted(offer_id=pack(rook).pk, packs=2))
    assert (free(harbour), free(rook)) == (48, 36)


def test_cancelling_gives_back_what_is_held_and_keeps_what_was_packed() -> None:
    harbour = counted_line("Harbour", 60)
    order = agree((pack(harbour), 2))
    promise = order.lines.get().promise
    with transaction.atomic():
        cultures.take_turn([harbour.pk])
        cultures.pack_from(harbour.cultures.get(), "young", 10, promise=promise, at=timezone.now(), by=None)
    assert free(harbour) == 36
    actions.cancel_order(order.number, "changed their mind", by=None)
    assert free(harbour) == 50
    with pytest.raises(ValidationError):
        actions.cancel_order(order.number, "again", by=None)
    assert free(harbour) == 50


def test_cancelling_asks_for_a_reason() -> None:
    order = agree((pack(counted_line("Harbour", 60)), 1))
    with pytest.raises(ValidationError):
        actions.cancel_order(order.number, "  ", by=None)
    assert Order.objects.get().status == Order.Status.HELD


def test_a_hold_that_ran_out_gives_back_and_a_paid_one_does_not() -> None:
    harbour = counted_line("Harbour", 60)
    unpaid, paid = agree((pack(harbour), 1)), agree((pack(harbour), 1), name="Bo Reed")
    actions.record_payment(paid.number, Decimal("24.00"), timezone.localdate(), by=None)
    past = timezone.now() - timedelta(hours=1)
    Order.objects.update(held_until=past)
    Promise.objects.filter(paid_at=None).update(expires_at=past)
    assert free(harbour) == 48
    assert actions.lapse_holds() == 1
    assert actions.lapse_holds() == 0
    assert Order.objects.get(number=unpaid.number).status == Order.Status.LAPSED
    assert Order.objects.get(number=paid.number).status == Order.Status.PAID
    assert free(harbour) == 48


@pytest.mark.parametrize(("amount", "said"), [("0", "0"), ("-5", "choose “given back”"), ("99999", "99999.00")])
def test_odd_amounts_get_a_sentence(amount: str, said: str) -> None:
    order = agree((pack(counted_line("Harbour", 60)), 1))
    with pytest.raises(ValidationError) as refusal:
        actions.record_payment(order.number, Decimal(amount), timezone.localdate(), by=None)
    assert said in " ".join(refusal.value.messages)
    assert not order.payments.exists()
