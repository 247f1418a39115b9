"""An order with money in it, or with nothing to pay, never runs out by itself: a keeper's rule, no outside source."""

import importlib
from datetime import timedelta
from decimal import Decimal

import pytest
from django.apps import apps
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from breeder.cultures.models import Promise
from breeder.orders import actions, rules
from breeder.orders.models import Order
from breeder.orders.queries import bill_of
from tests.orders.stand import agree, counted_line, free, pack, terms

pytestmark = pytest.mark.django_db
TODAY = timezone.localdate
LATER = timedelta(days=60)


def lapsed_later(order: Order) -> bool:
    """Return whether an order runs out when nobody touches it for two months; its animals follow."""
    actions.lapse_holds(at=timezone.now() + LATER)
    order.refresh_from_db()
    return order.status == Order.Status.LAPSED


def test_an_unpaid_order_runs_out_as_agreed() -> None:
    assert lapsed_later(agree((pack(counted_line("Harbour", 60)), 1)))


def test_an_order_with_money_in_it_stays_held_and_keeps_its_animals() -> None:
    harbour = counted_line("Harbour", 60)
    order = agree((pack(harbour), 2))
    actions.record_payment(order.number, Decimal("10.00"), TODAY(), by=None)
    assert not lapsed_later(order)
    assert order.status == Order.Status.HELD
    assert Promise.objects.get().state == Promise.State.HELD
    assert free(harbour) == 60 - 24
    # Somebody else's order over the same line, long after the first day, does not end it either.
    agree((pack(harbour, number=5, overcount=0), 1), name="Bo Reed")
    order.refresh_from_db()
    assert order.status == Order.Status.HELD


@pytest.mark.parametrize("price", ["0.00", None])
def test_a_swap_or_gift_stays_held_and_one_without_a_price_yet_runs_out(price: str | None) -> None:
    order = agree((pack(counted_line("Harbour", 60), price=price), 1))
    assert lapsed_later(order) is (price is None)


def test_postage_alone_is_something_to_pay() -> None:
    offer = pack(counted_line("Harbour", 60), price="0.00")
    wanted = [rules.Wanted(offer.pk, 1)]
    order = actions.agree_order(rules.Who(new_name="Ada"), wanted, terms(postage=Decimal("9.00")), by=None)
    assert lapsed_later(order)


def test_once_all_money_is_given_back_the_usual_days_begin_anew() -> None:
    harbour = counted_line("Harbour", 60)
    order = agree((pack(harbour), 1))
    actions.record_payment(order.number, Decimal("10.00"), TODAY(), by=None)
    actions.record_payment(order.number, Decimal("10.00"), TODAY(), given_back=True, by=None)
    order.refresh_from_db()
    assert order.held_until is not None
    assert order.held_until > timezone.now()
    assert Promise.objects.get().expires_at == order.held_until
    assert lapsed_later(order)


def test_a_gift_that_gets_a_price_runs_out_again_and_one_that_becomes_a_gift_does_not() -> None:
    order = agree((pack(counted_line("Harbour", 60), price="0.00"), 1))
    line = order.lines.get()

    def at(price: str) -> None:
        lines = {line.pk: actions.LineChange(1, Decimal(price))}
        actions.change_order(order.number, actions.Change(rules.Terms(None), lines), by=None)

    at("24.00")
    order.refresh_from_db()
    assert order.held_until is not None
    at("0.00")
    assert not lapsed_later(order)


def test_an_order_that_ran_out_and_holds_money_is_held_again_for_good() -> None:
    order = agree((pack(counted_line("Harbour", 60)), 1))
    assert lapsed_later(order)
    actions.record_payment(order.number, Decimal("10.00"), TODAY(), by=None)
    actions.hold_again(order.number, timezone.now() + timedelta(days=2), by=None)
    assert not lapsed_later(order)


def test_the_pages_say_so(keeper_client: Client) -> None:
    order = agree((pack(counted_line("Harbour", 60)), 1))
    pay = {"amount": "10.00", "on": TODAY().isoformat(), "way": "in"}
    said = keeper_client.post(reverse("orders:pay", args=[order.number]), pay, follow=True).content.decode()
    assert "14.00 USD is still open. Its animals stay held" in said
    assert "Money is in it, so it never runs out by itself" in said
    change = keeper_client.get(reverse("orders:change", args=[order.number])).content.decode()
    assert 'name="held_until"' not in change
    assert "never runs out by itself" in change
    line = order.lines.get()
    typed = {f"line-{line.pk}-packs": 2, f"line-{line.pk}-price": "24", "change": "1"}
    assert keeper_client.post(reverse("orders:change", args=[order.number]), typed).status_code == 302
    back = pay | {"way": "back"}
    said = keeper_client.post(reverse("orders:pay", args=[order.number]), back, follow=True).content.decode()
    assert "No money is in the order any more" in said


def test_holds_in_the_book_are_kept_by_the_migration() -> None:
    """As they stood before: with an end, though money was in one of them and another was a gift."""
    harbour = counted_line("Harbour", 90)
    paid_in_part, gift, plain = (agree((pack(harbour, price=price), 1)) for price in ("24.00", "0.00", "24.00"))
    actions.record_payment(paid_in_part.number, Decimal("10.00"), TODAY(), by=None)
    until = timezone.now() + timedelta(days=3)
    Order.objects.update(held_until=until)
    Promise.objects.update(expires_at=until)
    importlib.import_module("breeder.migrations.0005_holds_with_money_in_them").keep(apps, None)
    assert [lapsed_later(order) for order in (paid_in_part, gift, plain)] == [False, False, True]
    assert Promise.objects.filter(expires_at=None).count() == 2
    assert bill_of(Order.objects.get(pk=gift.pk)).never_runs_out
