"""Lists that grow without end come in pages that still sort, filter and export; no row asks for anything of its own."""

import sys
from decimal import Decimal
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from breeder.base import paging
from breeder.cultures.actions.counts import record_count
from breeder.cultures.models import Entry
from breeder.orders.models import Order, OrderLine, Payment
from breeder.orders.queries.orders import bill_of, sortable
from breeder.orders.rules.money import Bill
from breeder.people.models import Person
from tests.build import NOW, line, offer, person, tub
from tests.orders.stand import agree, counted_line, pack

pytestmark = pytest.mark.django_db
FEW, MANY = 10, 30
PAGES = (
    "/", "/tubs/", "/lines/", "/for-sale/", "/orders/", "/people/", "/offers/", "/orders/new/", "/round/sheet/",
)  # fmt: skip


def queries_of(client: Client, path: str) -> int:
    with CaptureQueriesContext(connection) as seen:
        assert client.get(path).status_code == 200
    return len(seen)


def grow(number: int) -> None:
    for _ in range(number):
        of = line(f"Form {Person.objects.count()}")
        tub(of)
        offer(of)
        Order.objects.create(number=Order.objects.count() + 1, person=person("Bo Reed"), agreed_at=timezone.now())


@pytest.mark.parametrize("path", PAGES)
def test_a_page_asks_the_book_as_often_for_30_rows_as_for_10(keeper_client: Client, path: str) -> None:
    grow(FEW)
    few = queries_of(keeper_client, path)
    grow(MANY - FEW)
    assert queries_of(keeper_client, path) == few <= 30


def test_own_errors_are_read_as_often_for_many_ways_as_for_one(keeper: User, keeper_client: Client) -> None:
    of = line()
    record_count(tub(of).pk, "young", "eye", {"from": 50, "to": 100}, by=keeper)
    few = queries_of(keeper_client, "/tubs/own-errors/")
    for name in ("piece", "index"):
        given = {"piece": {"seen": 9, "factor": 2.0}, "index": {"seen": 9, "trial_seen": 10, "trial_known": 20}}[name]
        record_count(tub(of).pk, "young", name, given, by=User.objects.create(username=name))
    assert queries_of(keeper_client, "/tubs/own-errors/") == few
    assert Entry.objects.filter(kind="count").values("method").distinct().count() == 3


def orders(number: int) -> list[Order]:
    """Return orders of one line each, of different worth, some partly paid and one without a price."""
    of, found = offer(line()), []
    for n in range(number):
        one = Order.objects.create(number=n + 1, person=person(f"Person {n % 7}"), agreed_at=NOW, postage=n % 3)
        price = None if n == 5 else Decimal(n * 37 % 11) + Decimal("0.50")
        for packs in (1, 2):
            OrderLine.objects.create(order=one, offer=of, packs=packs, animals=10, price=price)
        for paid in range(n % 3):
            Payment.objects.create(order=one, amount=paid + 1, on=NOW.date())
        found.append(one)
    return found


@pytest.mark.parametrize(("column", "figure"), [("total", "total"), ("due", "due")])
def test_orders_sort_by_what_they_come_to_over_all_pages(
    keeper_client: Client, monkeypatch: pytest.MonkeyPatch, column: str, figure: str
) -> None:
    monkeypatch.setattr(paging.in_pages, "__defaults__", (8,))
    orders(20)
    shown: list[Any] = []
    for page in (1, 2, 3):
        answer = keeper_client.get("/orders/", {"status": "all", "sort": f"-{column}", "page": page})
        shown += [row.record for row in answer.context["table"].paginated_rows]
    assert sorted(row.number for row in shown) == list(range(1, 21))
    figures = [getattr(row.bill, figure) for row in shown]
    assert figures == sorted(figures, reverse=True)
    same = sortable(Order.objects.all())
    bills = {one.number: bill_of(one) for one in Order.objects.all()}
    assert all((one.comes_to, one.still_due) == (bills[one.number].total, bills[one.number].due) for one in same)


def test_only_the_orders_of_the_shown_page_are_read(keeper_client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    orders(paging.ROWS_A_PAGE + 5)
    read: list[int] = []
    plain = bill_of

    def billed(order: Order) -> Bill:
        read.append(order.number)
        return plain(order)

    monkeypatch.setattr(sys.modules["breeder.orders.queries.orders"], "bill_of", billed)
    page = keeper_client.get("/orders/").content.decode()
    assert len(set(read)) == paging.ROWS_A_PAGE
    assert f"{paging.ROWS_A_PAGE + 5} open orders" in page
    assert "More rows" in page
    csv = keeper_client.get("/orders/orders.csv").content.decode()
    assert csv.count("Person") == paging.ROWS_A_PAGE + 5


def test_a_new_order_lists_the_latest_people_and_finds_the_others(keeper_client: Client) -> None:
    starter = pack(counted_line("Harbour", 60))
    Person.objects.bulk_create(Person(name=f"Person {n:03}") for n in range(80))
    agree((starter, 1), name="Zelda Ångström")
    old = Person.objects.get(name="Person 003")
    page = keeper_client.get("/orders/new/").content.decode()
    assert "Zelda Ångström" in page
    assert "Person 003" not in page
    assert "21 more people are not in this list. Find them by name." in page
    assert (
        f'<option value="{old.pk}" selected>Person 003</option>'
        in keeper_client.get("/orders/new/", {"person": old.pk}).content.decode()
    )
    found = keeper_client.post("/orders/new/", {"look": "", "find_person": "person 003", f"packs-{starter.pk}": "2"})
    page = found.content.decode()
    assert "Person 003" in page
    assert "Person 004" not in page
    assert 'value="2"' in page
    nobody = keeper_client.post("/orders/new/", {"look": "", "find_person": "nobody"}).content.decode()
    assert "Nobody in the book is called like that." in nobody
    day = (timezone.localdate() + timezone.timedelta(days=3)).isoformat()
    typed = {"person": old.pk, f"packs-{starter.pk}": "1", "held_until": day, "agree": "1"}
    assert keeper_client.post("/orders/new/", typed).status_code == 302
    assert Order.objects.latest("pk").person == old


def test_a_new_order_shows_a_few_lines_and_finds_the_others(keeper_client: Client) -> None:
    for n in range(27):
        pack(counted_line(f"Form {n:02}", 60))
    page = keeper_client.get("/orders/new/").content.decode()
    assert page.count('class="pack"') == 25
    assert "2 more lines are not shown. Find them by name." in page
    assert "Form 26" in keeper_client.post("/orders/new/", {"look": "", "find": "Form 26"}).content.decode()


def test_a_small_book_shows_everybody_and_asks_nobody_to_search(keeper_client: Client) -> None:
    person("Ada Marsh")
    page = keeper_client.get("/orders/new/").content.decode()
    assert "Ada Marsh" in page
    assert "find_person" not in page


def test_a_long_round_sheet_comes_in_pages_and_each_is_written_by_itself(keeper_client: Client) -> None:
    of, url = line(), "/round/sheet/"
    tubs = [tub(of, place_on_shelf=n) for n in range(45)]
    first, second = keeper_client.get(url).content.decode(), keeper_client.get(url, {"page": 2}).content.decode()
    assert (first.count("-note"), second.count("-note")) == (40, 5)
    assert "Page 1 of 2" in first
    typed = {"on": (timezone.localdate() - timezone.timedelta(days=1)).isoformat(), "page": "2", "shelf": ""}
    answer = keeper_client.post(url, typed | {f"tub{tubs[44].number}-seen": "well"})
    assert answer.status_code == 302
    assert answer["Location"].endswith("page=2")
    # A form of an older page holds rows of both pages: all of them are written.
    answer = keeper_client.post(url, typed | {f"tub{tubs[n].number}-note": "lid" for n in (0, 44)})
    assert set(Entry.objects.filter(note="lid").values_list("culture", flat=True)) == {tubs[0].pk, tubs[44].pk}
