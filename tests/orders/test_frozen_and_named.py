"""Promises of a frozen line ask for its name; a promise out of a named tub takes at most the smaller of both."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from breeder.cultures.actions.counts import record_count
from breeder.cultures.actions.freezes import freeze_line
from breeder.orders import actions
from breeder.orders.models import Order
from breeder.orders.rules.order_status import Who
from breeder.orders.rules.packs import Wanted
from tests.build import tub
from tests.orders.stand import agree, counted_line, free, pack, terms
from tests.orders.test_pages import form_of

pytestmark = pytest.mark.django_db

NAME = "Armadillidium vulgare ‘Quarry’"


def freeze(line_id: int) -> None:
    freeze_line(line_id, "down to 31 adults", by=None)


def test_no_promise_is_made_of_a_frozen_line_without_its_name() -> None:
    quarry = counted_line("Quarry", 60)
    starter = pack(quarry)
    freeze(quarry.pk)
    with pytest.raises(ValidationError, match="is frozen"):
        agree((starter, 1))
    assert free(quarry) == 60
    asked = [Wanted(starter.pk, 1)]
    actions.agree_order(Who(new_name="Ada Marsh"), asked, terms(), named=["", f" {NAME} "], by=None)
    assert free(quarry) == 48


def test_raising_an_order_of_a_frozen_line_asks_for_its_name_and_lowering_does_not() -> None:
    quarry = counted_line("Quarry", 60)
    order = agree((pack(quarry), 2))
    freeze(quarry.pk)
    line = order.lines.get()

    def to(packs: int, named: tuple[str, ...] = ()) -> None:
        change = actions.Change(terms(), {line.pk: actions.LineChange(packs, None)}, named=named)
        actions.change_order(order.number, change, by=None)

    to(1)
    with pytest.raises(ValidationError, match="is frozen"):
        to(2)
    to(2, (NAME,))
    actions.cancel_order(order.number, "not now", by=None)


def test_holding_an_order_of_a_frozen_line_again_asks_for_its_name() -> None:
    quarry = counted_line("Quarry", 60)
    order = agree((pack(quarry), 1))
    Order.objects.update(held_until=timezone.now() - timedelta(hours=1))
    actions.lapse_holds()
    freeze(quarry.pk)
    until = timezone.now() + timedelta(days=2)
    with pytest.raises(ValidationError, match="is frozen"):
        actions.hold_again(order.number, until, by=None)
    actions.hold_again(order.number, until, named=[NAME], by=None)


def test_the_order_form_asks_for_the_name_and_keeps_what_was_typed(keeper_client: Client) -> None:
    quarry = counted_line("Quarry", 60)
    starter = pack(quarry)
    freeze(quarry.pk)
    assert b"Frozen: down to 31 adults" in keeper_client.get(reverse("orders:new")).content
    refused = keeper_client.post(reverse("orders:new"), form_of(starter, 1, **{f"name-{quarry.pk}": "Quarry"}))
    said = refused.content.decode()
    assert refused.status_code == 422
    assert "“Quarry” is not its name" in said
    assert 'value="Quarry"' in said
    agreed = keeper_client.post(reverse("orders:new"), form_of(starter, 1, **{f"name-{quarry.pk}": NAME}))
    assert agreed.status_code == 302
    order = Order.objects.get()
    page = reverse("orders:change", args=[order.number])
    assert keeper_client.get(page).content.decode().count("To promise of it, type its name") == 1
    public = reverse("storefront:public")
    assert "none" in keeper_client.get(public).content.decode()


def test_a_promise_for_a_named_tub_takes_at_most_the_smaller_of_both(keeper_client: Client) -> None:
    ash = counted_line("Ash", 24)
    second = tub(ash)
    record_count(second.pk, "young", "hand", {"counted": 12}, by=None)
    starter = pack(ash)
    page = reverse("orders:new")
    assert "tub 2, 12 free" in keeper_client.get(page).content.decode()
    refused = keeper_client.post(page, form_of(starter, 2, **{f"tub-{starter.pk}": second.pk}))
    assert refused.status_code == 422
    assert "Only 12 can be spared from tub 2" in refused.content.decode()
    assert f'value="{second.pk}" selected' in refused.content.decode()
    assert keeper_client.post(page, form_of(starter, 1, **{f"tub-{starter.pk}": second.pk})).status_code == 302
    line = Order.objects.get().lines.get()
    assert (line.culture_id, line.promise.culture_id) == (second.pk, second.pk)
    # 24 are left in the line, none of them in the named tub.
    with pytest.raises(ValidationError, match="No young can be spared from tub 2"):
        actions.agree_order(Who(new_name="Bo Reed"), [Wanted(starter.pk, 1, culture_id=second.pk)], terms(), by=None)
    agree((starter, 2))
    assert free(ash) == 0


def test_a_tub_that_is_not_of_the_line_is_refused() -> None:
    ash, other = counted_line("Ash", 24), counted_line("Slate", 24).cultures.get()
    asked = [Wanted(pack(ash).pk, 1, culture_id=other.pk)]
    with pytest.raises(ValidationError, match="gives no young for sale"):
        actions.agree_order(Who(new_name="Bo Reed"), asked, terms(), by=None)
