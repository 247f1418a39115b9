"""The first page says what needs doing, and nothing else."""

from datetime import date, timedelta
from typing import Any

import pytest
import time_machine
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from breeder.cultures.actions.changes import record_change
from breeder.cultures.actions.counts import record_count, record_looked
from breeder.cultures.actions.crashes import mark_crashed
from breeder.cultures.actions.freezes import freeze_line
from breeder.dashboard import queries
from breeder.orders import actions as orders
from breeder.shipments import run_check
from breeder.shipments.actions import departure as dispatch
from breeder.shipments.actions.bench import load_example_kits
from breeder.shipments.models import Supply
from tests.build import line, tub
from tests.carriers import book
from tests.orders.stand import agree, counted_line, pack
from tests.shipments import boxes

pytestmark = pytest.mark.django_db


def main_text(client: Client) -> str:
    return client.get(reverse("dashboard:page")).content.decode().split("<main")[1]


def test_an_empty_book_teaches_the_next_step(keeper_client: Client) -> None:
    page = main_text(keeper_client)
    assert "Your book is empty" in page
    assert reverse("species:line_new") in page
    assert reverse("cultures:round") not in page
    line("First")
    page = main_text(keeper_client)
    assert "No tub is begun yet" in page
    assert reverse("cultures:tub_new") in page


def test_a_tub_never_counted_and_one_with_mites_are_named(keeper_client: Client, keeper: User) -> None:
    never, mites, filled = tub(line("Never")), tub(line("Mites")), tub(line("Filled"))
    record_change(filled.pk, "young", 30, "received", by=keeper)
    record_count(mites.pk, "adults", "hand", {"counted": 90}, by=keeper)
    record_looked(mites.pk, ["mites"], by=keeper)
    whys = {row.tub: row.why for row in queries.day_overview(timezone.now()).tubs}
    assert whys == {
        never: "never counted, so nothing of it can be sold",
        mites: "mites seen today",
        filled: "never counted: the book knows only what was put in",
    }


def test_an_old_count_is_due(keeper: User) -> None:
    old = tub(line("Old"))
    long_ago = timezone.now() - timedelta(days=160)
    record_count(old.pk, "adults", "hand", {"counted": 90}, happened_at=long_ago, by=keeper)
    assert [row.why for row in queries.day_overview(timezone.now()).tubs] == ["count due: last counted 160 days ago"]


def test_a_short_line_is_named_with_how_many(keeper_client: Client, keeper: User) -> None:
    harbour = counted_line("Harbour", 30)
    agree((pack(harbour), 2))
    record_count(harbour.cultures.get().pk, "young", "hand", {"counted": 20}, by=keeper)
    assert "Short by 4 young" in main_text(keeper_client)


@pytest.mark.parametrize(
    ("adults", "irreplaceable", "why"),
    [
        (31, True, []),
        (30, True, ["only 30 adults are sure, and 30 must stay; it cannot be bought again, so freeze it"]),
        (30, False, []),
        (29, False, ["only 29 adults are sure, and 30 must stay"]),
    ],
)
def test_a_line_at_its_minimum_is_named_and_one_that_cannot_be_bought_again_is_to_be_frozen(
    adults: int, irreplaceable: bool, why: list[str], keeper: User
) -> None:
    quarry = line("Quarry", irreplaceable=irreplaceable, adults_kept=30)
    record_count(tub(quarry).pk, "adults", "hand", {"counted": adults}, by=keeper)
    assert [row.why for row in queries.day_overview(timezone.now()).lines] == why
    freeze_line(quarry.pk, "few are left", by=keeper)
    assert not [row for row in queries.day_overview(timezone.now()).lines if "freeze" in row.why]


def test_orders_that_wait_are_named_for_the_keeper_only(
    keeper_client: Client, helper_client: Client, keeper: User
) -> None:
    harbour = counted_line("Harbour", 90)
    held, paid = agree((pack(harbour), 1), days=1, name="Bo Reed"), agree((pack(harbour), 1), name="Cy Alder")
    orders.record_payment(paid.number, paid.lines.get().price, timezone.localdate(), by=keeper)
    page = main_text(keeper_client)
    assert f"Order {held.number}, Bo Reed" in page
    assert f"Order {paid.number}, Cy Alder" in page
    assert "Bo Reed" not in main_text(helper_client)


def test_a_paid_order_whose_box_was_taken_apart_is_named_again(keeper_client: Client) -> None:
    box = boxes.parcel(timezone.localdate())
    named = f"Order {box.order.number}, {box.order.person}"
    assert named not in main_text(keeper_client)
    dispatch.unpack_parcel(box.number, by=None)
    assert named in main_text(keeper_client)


def test_on_an_empty_book_no_supply_runs_out(keeper_client: Client) -> None:
    load_example_kits(by=None)
    assert "on the shelf</a>" in keeper_client.get(reverse("dashboard:page")).content.decode()
    assert "Running out" not in main_text(keeper_client)
    assert "Foam liner" not in main_text(keeper_client)


def test_a_shelf_that_nobody_counted_asks_for_it_once(keeper_client: Client) -> None:
    counted_line("Harbour", 60)
    load_example_kits(by=None)
    page = main_text(keeper_client)
    assert "Nothing is counted on the shelf" in page
    assert "Foam liner" not in page
    Supply.objects.filter(name__startswith="Card").update(on_shelf=9)
    page = main_text(keeper_client)
    assert "Running out on the shelf" in page
    assert "Foam liner 19 mm" in page


def test_supplies_running_out_are_named(keeper_client: Client) -> None:
    counted_line("Harbour", 60)
    Supply.objects.create(name="Foam liner", on_shelf=2, order_below=5)
    Supply.objects.create(name="Card box", on_shelf=9, order_below=5)
    page = main_text(keeper_client)
    assert "Foam liner" in page
    assert "Card box" not in page


def test_the_page_takes_the_same_queries_for_few_and_many_tubs(keeper_client: Client) -> None:
    def taken() -> int:
        with CaptureQueriesContext(connection) as caught:
            keeper_client.get(reverse("dashboard:page"))
        return len(caught)

    for number in range(3):
        counted_line(f"Form {number}", 50)
    taken()
    few = taken()
    for number in range(3, 20):
        counted_line(f"Form {number}", 50)
    assert taken() == few


def test_a_box_that_was_changed_since_its_check_is_not_shown_as_a_go(keeper_client: Client, monkeypatch: Any) -> None:
    monkeypatch.setattr(run_check, "MEMBERS", 16)
    monday = date(2013, 10, 7)
    morning = boxes.morning_of(monday)
    boxes.household()
    boxes.bare()
    boxes.real_hours(monday, issued_at=morning - timedelta(hours=2))
    box = boxes.parcel(monday)
    with time_machine.travel(morning, tick=False):
        check = dispatch.check_parcel(box.number, by=None)
        page = main_text(keeper_client)
        assert check.reason in page
        assert "Check all boxes" not in page
        box.items.update(planned=11)
        page = main_text(keeper_client)
        assert "Check all boxes" in page
    assert "Since the check the contents changed" in page
    assert "Not decided" in page
    assert check.reason not in page


def test_a_box_that_may_not_go_there_says_so_before_its_weather(keeper_client: Client) -> None:
    parcel = boxes.parcel(timezone.localdate())
    assert "Not checked yet." in main_text(keeper_client)
    book.movement("forbidden")
    page = main_text(keeper_client)
    assert "may not go there" in page
    assert "is forbidden: 7 CFR 330.200" in page
    assert f"Box {parcel.number}" in page


def test_a_line_whose_only_tub_crashed_is_in_need(keeper_client: Client, keeper: User) -> None:
    lost, half = line("Lost"), line("Half")
    only, first, second = tub(lost), tub(half), tub(half)
    for each in (only, first, second):
        record_count(each.pk, "adults", "hand", {"counted": 90}, by=keeper)
    mark_crashed(only.pk, "mould from end to end", by=keeper)
    mark_crashed(first.pk, "mites", by=keeper)
    needs = {need.line: need.why for need in queries.day_overview(timezone.now()).lines}
    assert needs == {lost: f"tub {only.number} crashed, and the line has no other"}
    assert f"Tub {only.number} crashed, and the line has no other." in main_text(keeper_client)
    mark_crashed(second.pk, "mites too", by=keeper)
    both = f"tubs {first.number} and {second.number} crashed, and the line has no other"
    assert {need.line: need.why for need in queries.day_overview(timezone.now()).lines}[half] == both
