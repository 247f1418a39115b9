"""Changing, paying, cancelling and lapsing release exactly what they should."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from breeder.base import form_tokens
from breeder.base.action_frame import Sent
from breeder.cultures.models import Promise
from breeder.orders import actions
from breeder.orders.actions import Change, LineChange
from breeder.orders.models import Order
from breeder.orders.queries.orders import bill_of, whole
from breeder.orders.rules.order_status import Terms, standing
from breeder.orders.rules.packs import Wanted
from breeder.people.actions import remove_person
from breeder.shipments.actions.bench import plan_parcel
from tests.orders.stand import agree, counted_line, free, pack, take, terms

pytestmark = pytest.mark.django_db


def change(order: Order, packs: int, *added: Wanted) -> None:
    line = order.lines.get()
    actions.change_order(order.number, Change(terms(), {line.pk: LineChange(packs, line.price)}, added), by=None)


def pay(order: Order, amount: str, **how: Any) -> None:
    actions.record_payment(order.number, Decimal(amount), timezone.localdate(), by=None, **how)


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


def test_packs_exchanged_for_others_of_the_line_ask_for_no_more_than_the_difference() -> None:
    harbour = counted_line("Harbour", 24)
    ten, five = pack(harbour), pack(harbour, number=5, overcount=1)
    order = agree((ten, 2))
    assert free(harbour) == 0
    change(order, 1, Wanted(five.pk, 2))
    assert [line.packs for line in order.lines.all()] == [1, 2]
    assert free(harbour) == 0
    first, second = order.lines.all()
    exchanged = Change(terms(), {first.pk: LineChange(2, first.price), second.pk: LineChange(0, second.price)})
    actions.change_order(order.number, exchanged, by=None)
    assert (order.lines.get().packs, free(harbour)) == (2, 0)
    with pytest.raises(ValidationError, match="Only 12 can be spared"):
        change(order, 1, Wanted(five.pk, 3))
    assert (order.lines.get().packs, free(harbour)) == (2, 0)


def test_free_falls_by_12_each_time_12_are_promised_and_by_0_when_they_are_packed() -> None:
    harbour = counted_line("Harbour", 120)
    starter = pack(harbour)
    for time in range(1, 10):
        order = agree((starter, 1))
        assert free(harbour) == 120 - 12 * time
        take(harbour, 12, order)
        assert free(harbour) == 120 - 12 * time


def test_fewer_packs_than_are_packed_already_are_refused() -> None:
    harbour = counted_line("Harbour", 60)
    order = agree((pack(harbour), 3))
    take(harbour, 14, order)
    with pytest.raises(ValidationError) as refusal:
        change(order, 1)
    assert "2 packs" in " ".join(refusal.value.messages)
    assert (
        "2 packs of starter of 10 young, Armadillidium vulgare ‘Harbour’ are packed already"
        in refusal.value.messages[0]
    )
    change(order, 2)
    assert order.lines.get().promise.number == 24 - 14
    assert free(harbour) == 60 - 24


def test_one_pack_that_is_packed_already_is_said_in_the_singular() -> None:
    harbour = counted_line("Harbour", 60)
    order = agree((pack(harbour), 2))
    take(harbour, 12, order)
    with pytest.raises(ValidationError, match="^.*1 pack of .* is packed already"):
        change(order, 0)


def test_more_of_a_line_that_is_wholly_packed_is_a_line_of_its_own() -> None:
    harbour = counted_line("Harbour", 60)
    order = agree((pack(harbour), 1))
    take(harbour, 12, order)
    change(order, 3)
    assert [line.packs for line in order.lines.all()] == [1, 2]
    assert free(harbour) == 60 - 36


def test_a_line_taken_off_gives_all_of_it_back_and_an_order_of_nothing_is_refused() -> None:
    harbour, rook = counted_line("Harbour", 60), counted_line("Rook", 60)
    order = agree((pack(harbour), 2), (pack(rook), 1))
    first, second = order.lines.all()
    actions.change_order(order.number, Change(terms(), {first.pk: LineChange(0, first.price)}), by=None)
    assert (free(harbour), free(rook)) == (60, 48)
    assert list(order.lines.all()) == [second]
    with pytest.raises(ValidationError) as refusal:
        change(order, 0)
    assert "Cancel it instead" in " ".join(refusal.value.messages)


def test_a_later_hold_is_the_later_end_of_its_promises() -> None:
    order = agree((pack(counted_line("Harbour", 60)), 1), days=3)
    until = timezone.now() + timedelta(days=9)
    actions.change_order(order.number, Change(Terms(held_until=until)), by=None)
    assert order.lines.get().promise.expires_at == until


def test_more_of_a_packed_line_is_held_as_long_as_the_order_is_now() -> None:
    harbour = counted_line("Harbour", 60)
    order = agree((pack(harbour), 1), days=3)
    take(harbour, 12, order)
    line, until = order.lines.get(), timezone.now() + timedelta(days=9)
    later = Change(Terms(held_until=until), {line.pk: LineChange(2, line.price)})
    actions.change_order(order.number, later, by=None)
    assert order.lines.last().promise.expires_at == until


def test_a_lapsed_order_is_held_again_only_if_its_animals_can_still_be_spared() -> None:
    harbour = counted_line("Harbour", 24)
    starter = pack(harbour)
    late = agree((starter, 2), days=-1)
    agree((starter, 1), name="Bo Reed")
    assert Order.objects.get(number=late.number).status == Order.Status.LAPSED
    with pytest.raises(ValidationError) as refusal:
        actions.hold_again(late.number, timezone.now() + timedelta(days=3), by=None)
    assert "Only 12 can be spared" in " ".join(refusal.value.messages)
    actions.cancel_order(2, "gave way", by=None)
    actions.hold_again(late.number, timezone.now() + timedelta(days=3), by=None)
    assert free(harbour) == 0
    assert Order.objects.get(number=late.number).status == Order.Status.HELD


def test_nothing_is_held_again_for_somebody_who_was_removed() -> None:
    harbour = counted_line("Harbour", 60)
    order = agree((pack(harbour), 2), days=-1)
    actions.lapse_holds()
    remove_person(order.person_id, by=None)
    with pytest.raises(ValidationError, match="is no longer in the book, so there is no address"):
        actions.hold_again(order.number, timezone.now() + timedelta(days=3), by=None)
    assert free(harbour) == 60


def test_a_line_taken_off_after_its_box_was_planned_is_not_held_again() -> None:
    harbour, rook = counted_line("Harbour", 60), counted_line("Rook", 60)
    order = agree((pack(harbour), 2), (pack(rook), 1))
    plan_parcel(order.number, by=None)
    first = order.lines.first()
    actions.change_order(order.number, Change(terms(-1), {first.pk: LineChange(0, first.price)}), by=None)
    actions.lapse_holds()
    actions.hold_again(order.number, timezone.now() + timedelta(days=3), by=None)
    assert (free(harbour), free(rook)) == (60, 48)


def test_a_part_payment_takes_the_end_off_the_hold_and_the_rest_pays_it() -> None:
    order = agree((pack(counted_line("Harbour", 60)), 1))
    pay(order, "10.00")
    assert order.lines.get().promise.expires_at is None
    pay(order, "14.00")
    order.refresh_from_db()
    promise = order.lines.get().promise
    assert order.status == Order.Status.PAID
    assert promise.expires_at is None
    assert promise.paid_at is not None


def test_a_paid_order_says_why_money_is_open_again() -> None:
    order = agree((pack(counted_line("Harbour", 60)), 1))
    pay(order, "24.00")
    pay(order, "4.00", given_back=True)
    paid = Order.objects.get()
    said = standing(paid, bill_of(paid), timezone.now())
    assert said.follows.endswith("4.00 is open since money was given back.")


def test_an_order_is_not_paid_while_a_line_has_no_price() -> None:
    order = agree((pack(counted_line("Harbour", 60), price=None), 1))
    pay(order, "20.00")
    order.refresh_from_db()
    assert order.status == Order.Status.HELD
    line = order.lines.get()
    actions.change_order(order.number, Change(terms(), {line.pk: LineChange(1, Decimal("20.00"))}), by=None)
    order.refresh_from_db()
    assert order.status == Order.Status.PAID


def test_more_than_is_due_and_more_than_was_received_are_asked_about() -> None:
    order = agree((pack(counted_line("Harbour", 60)), 1))
    with pytest.raises(ValidationError):
        pay(order, "240.00")
    pay(order, "30.00", more_is_meant=True)
    with pytest.raises(ValidationError) as refusal:
        pay(order, "31.00", given_back=True)
    assert "Only 30.00 USD was received" in " ".join(refusal.value.messages)
    pay(order, "6.00", given_back=True)
    assert [payment.amount for payment in order.payments.all()] == [Decimal("30.00"), Decimal("-6.00")]


def test_a_payment_sent_twice_is_written_down_once() -> None:
    order = agree((pack(counted_line("Harbour", 60)), 1))
    sent = Sent(form_tokens.new_token())
    pay(order, "10.00", sent=sent)
    with pytest.raises(form_tokens.AlreadyDone):
        pay(order, "10.00", sent=sent)
    assert order.payments.count() == 1


def test_cancelling_gives_back_what_is_held_and_keeps_what_was_packed() -> None:
    harbour = counted_line("Harbour", 60)
    order = agree((pack(harbour), 2))
    take(harbour, 10, order)
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


def test_a_cancelled_order_asks_for_no_money_and_names_what_to_give_back(keeper_client: Client) -> None:
    order = agree((pack(counted_line("Harbour", 60)), 1))
    assert "Nothing is paid yet" in page_of(keeper_client, order)
    actions.cancel_order(order.number, "changed their mind", by=None)
    said = page_of(keeper_client, order)
    assert "Nothing is due." in said
    assert "Nothing is paid yet" not in said
    assert bill_of(order_of(order)).due == 0
    pay = keeper_client.get(reverse("orders:pay", args=[order.number])).content.decode()
    assert "Nothing is open" in pay


def test_what_was_paid_for_a_cancelled_order_is_to_be_given_back(keeper_client: Client) -> None:
    order = agree((pack(counted_line("Harbour", 60)), 1))
    pay(order, "24.00")
    actions.cancel_order(order.number, "changed their mind", by=None)
    assert "24.00 USD was paid for it. Give back what was not sent" in page_of(keeper_client, order)
    assert bill_of(order_of(order)).due == 0


def page_of(client: Client, order: Order) -> str:
    return client.get(reverse("orders:order", args=[order.number])).content.decode()


def order_of(order: Order) -> Order:
    return whole(Order.objects.filter(pk=order.pk)).get()
