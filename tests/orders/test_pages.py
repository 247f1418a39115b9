"""Pages of orders: typed values are kept, refusals are whole, a double click is one order."""

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from breeder.orders.models import Offer, Order
from breeder.pages import once
from tests.orders.stand import agree, counted_line, free, pack

pytestmark = pytest.mark.django_db
BLOCK = "Ada Marsh\n1 Fern Lane\nTrenton NJ 08608"


def form_of(starter: Offer, packs: object, **changed: object) -> dict[str, object]:
    day = timezone.localdate() + timedelta(days=3)
    typed = {"new_name": "Ada Marsh", "address_block": BLOCK, "held_until": day.isoformat(), "postage": "9.50"}
    return typed | {f"packs-{starter.pk}": packs, "agree": "1", "token": once.new_token()} | changed


def test_an_order_is_agreed_on_the_page(keeper_client: Client) -> None:
    harbour = counted_line("Harbour", 60)
    answer = keeper_client.post(reverse("orders:new"), form_of(pack(harbour), 2))
    order = Order.objects.get()
    assert answer["Location"] == reverse("orders:order", args=[order.number])
    assert order.address.town == "Trenton"
    assert free(harbour) == 36
    assert b"57.50 USD" in keeper_client.get(answer["Location"]).content


def test_a_double_click_is_one_order(keeper_client: Client) -> None:
    typed = form_of(pack(counted_line("Harbour", 60)), 1)
    first, second = (keeper_client.post(reverse("orders:new"), typed) for _ in range(2))
    assert first["Location"] == second["Location"]
    assert Order.objects.count() == 1


def test_a_line_sold_out_in_an_open_form_keeps_what_was_typed(keeper_client: Client) -> None:
    harbour = counted_line("Harbour", 24)
    starter = pack(harbour)
    keeper_client.get(reverse("orders:new"))
    agree((starter, 1), name="Bo Reed")
    answer = keeper_client.post(reverse("orders:new"), form_of(starter, 2))
    said = answer.content.decode()
    assert answer.status_code == 422
    assert "Only 12 can be spared" in said
    assert "none kept back, 12 promised" in said
    assert "1 Fern Lane" in said
    assert 'value="2"' in said


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"packs": "-3"}, "smallest it can be is 0"),
        ({"packs": "1e9"}, "is not a whole number"),
        ({"packs": "999999"}, "largest it can be"),
        ({"new_name": ""}, "name of somebody new"),
        ({"held_until": "2001-01-01"}, "which is over"),
        ({"held_until": "soon"}, "is not a date"),
        ({"postage": "-1"}, "smallest it can be is 0"),
        ({"address_block": "Ada Marsh\n1 Fern Lane\nNowhere NJ 00000"}, "00000"),
    ],
)
def test_bad_values_get_a_sentence_and_agree_nothing(keeper_client: Client, changed: dict[str, str], said: str) -> None:
    starter = pack(counted_line("Harbour", 60))
    packs = changed.pop("packs", 1)
    answer = keeper_client.post(reverse("orders:new"), form_of(starter, packs, **changed))
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not Order.objects.exists()


def test_every_page_of_an_order_opens(keeper_client: Client) -> None:
    order = agree((pack(counted_line("Harbour", 60)), 1))
    for name in ("order", "change", "cancel", "pay", "hold"):
        assert keeper_client.get(reverse(f"orders:{name}", args=[order.number])).status_code == 200, name
    for name in ("list", "offers", "offer_new", "csv"):
        assert keeper_client.get(reverse(f"orders:{name}")).status_code == 200, name
    assert keeper_client.get(reverse("orders:order", args=[99])).status_code == 404


def test_orders_belong_to_the_keeper(helper_client: Client, client: Client) -> None:
    assert helper_client.get(reverse("orders:list")).status_code == 403
    assert client.get(reverse("orders:list")).status_code == 302


def test_names_that_look_like_formulas_are_guarded_in_the_spreadsheet(keeper_client: Client) -> None:
    agree((pack(counted_line("Harbour", 60)), 1), name="=cmd()")
    assert "'=cmd()" in keeper_client.get(reverse("orders:csv")).content.decode()


def test_an_offer_is_made_and_a_wrong_one_is_explained(keeper_client: Client) -> None:
    harbour = counted_line("Harbour", 60)
    typed = {"line": harbour.pk, "kind": "starter", "number": "10", "stage": "young", "price": "", "active": "on"}
    keeper_client.post(reverse("orders:offer_new"), typed | {"token": once.new_token()})
    assert Offer.objects.get().overcount == 2
    answer = keeper_client.post(reverse("orders:offer_new"), typed | {"kind": "cup", "token": once.new_token()})
    assert answer.status_code == 422
    assert "sold by the animal" in answer.content.decode()
