"""What can be sold, for the keeper and for the public."""

import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from breeder.house.models import Setting
from tests.orders.stand import agree, counted_line, pack

pytestmark = pytest.mark.django_db


def queries_of(client: Client, address: str) -> int:
    with CaptureQueriesContext(connection) as caught:
        assert client.get(address).status_code == 200
    return len(caught)


def test_the_page_takes_the_same_queries_for_10_and_500_lines(keeper_client: Client) -> None:
    from breeder.cultures.models import Culture, Entry
    from breeder.cultures.replay import bring_up_to_date
    from breeder.orders.models import Offer
    from breeder.taxa.models import Line
    from tests.build import NOW, species

    def add(numbers: range) -> None:
        of = species()
        lines = Line.objects.bulk_create([Line(species=of, form_name=f"Form {n}") for n in numbers])
        tubs = Culture.objects.bulk_create(
            [
                Culture(number=5000 + n, line=line, shelf="Z", started_on=NOW.date())
                for n, line in zip(numbers, lines, strict=True)
            ]
        )
        figures = {"estimate": 90, "lower": 55, "log_sd": 0.3, "shared_sd": 0.3, "method": "eye"}
        moments = {"happened_at": NOW, "recorded_at": NOW}
        Entry.objects.bulk_create(
            Entry(culture=one, kind="count", stage="young", given={"from": 50, "to": 100}, **figures, **moments)
            for one in tubs
        )
        bring_up_to_date(one.pk for one in tubs)
        Offer.objects.bulk_create(
            [Offer(line=line, kind="starter", stage="young", number=10, price=9) for line in lines]
        )

    address = reverse("forsale:page")
    keeper_client.get(address)
    add(range(10))
    few = queries_of(keeper_client, address)
    add(range(10, 500))
    assert queries_of(keeper_client, address) == few


def test_the_bar_and_the_number_say_what_is_free(keeper_client: Client) -> None:
    harbour = counted_line("Harbour", 60, kept=20)
    agree((pack(harbour), 1))
    said = keeper_client.get(reverse("forsale:page")).content.decode()
    assert "20 young stay, 12 promised, 28 free" in said
    assert re.search(r'<span class="strong">28</span>', said)


def test_lists_are_narrowed_by_name_group_and_what_is_free(keeper_client: Client) -> None:
    counted_line("Harbour", 60), counted_line("Rook", 10, kept=20)
    page = reverse("forsale:page")
    assert "Rook" in keeper_client.get(page).content.decode()
    assert "Rook" not in keeper_client.get(page, {"only_free": "1"}).content.decode()
    assert "Harbour" not in keeper_client.get(page, {"find": "rook"}).content.decode()
    assert "Harbour" not in keeper_client.get(page, {"group": "roach"}).content.decode()
    assert keeper_client.get(page, {"group": "dragon", "find": "\x00", "sort": "nonsense"}).status_code == 200


def test_the_public_list_says_words_and_never_numbers(client: Client) -> None:
    plenty, few = counted_line("Plenty", 371), counted_line("Fewer", 25)
    none = counted_line("Nothing", 3)
    for of in (plenty, few, none):
        pack(of)
    said = client.get(reverse("forsale:public")).content.decode()
    words = dict(re.findall(r"‘(\w+)’.*?<span class=\"tag[^>]*>(\w+)</span>", said, re.DOTALL))
    assert words == {"Plenty": "available", "Fewer": "few", "Nothing": "none"}
    for leak in ("371", "tub", "shelf", "promised"):
        assert leak not in said.lower()


def test_the_public_list_can_be_closed(client: Client) -> None:
    Setting.objects.create(public_list=False)
    assert client.get(reverse("forsale:public")).status_code == 404


def test_everything_else_asks_for_a_login(client: Client) -> None:
    for name in ("page", "csv", "text"):
        assert client.get(reverse(f"forsale:{name}")).status_code == 302, name


def test_a_helper_sees_what_is_free_but_no_prices(helper_client: Client) -> None:
    pack(counted_line("Harbour", 60), price="123.45")
    assert "123.45" not in helper_client.get(reverse("forsale:page")).content.decode()
    assert "123.45" not in helper_client.get(reverse("forsale:csv")).content.decode()


def test_the_list_to_paste_holds_what_can_be_had(keeper_client: Client) -> None:
    pack(counted_line("Harbour", 160)), pack(counted_line("Nothing", 3))
    said = keeper_client.get(reverse("forsale:text")).content.decode()
    assert "Armadillidium vulgare ‘Harbour’: starter of 10 young, 24.00 USD" in said
    assert "Nothing’" not in said
