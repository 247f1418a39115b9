"""The parts of the stock benchmark still do what they say; how fast is no matter of a test."""

import io
import sys

import pytest
from django.utils import timezone

from breeder.cultures import ledger_check
from breeder.cultures.actions.counts import record_count
from breeder.cultures.models import Belief, Culture, Entry, Promise
from breeder.evaluation.benchmarks import big_book, big_book_work, pages, stock_speed
from breeder.orders.models import Order
from breeder.people.models import Person
from breeder.species.models import Line


@pytest.mark.django_db
def test_each_part_does_its_work_on_a_small_book(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(stock_speed, "LINES", 3)
    monkeypatch.setattr(stock_speed, "SECONDS", 0.0)
    stock_speed._prepare()

    short, long = stock_speed._list(3), stock_speed._list(50)
    assert (short["entries"], long["entries"]) == (3, 50)
    assert Entry.objects.filter(kind=Entry.Kind.LOOKED).count() == 47
    assert set(Entry.objects.values_list("culture_id", flat=True)) == set(
        Line.objects.values_list("cultures", flat=True)
    )
    assert short["lines"] == long["lines"] == 3
    assert short["queries"] == long["queries"] > 0

    for part in (stock_speed._promise, stock_speed._bare):
        monkeypatch.setattr(sys, "stdin", io.StringIO("0\n"))
        assert part() == 0  # of no time at all; the one before the clock is not counted
        assert capsys.readouterr().out == "ready\n"
    assert (Order.objects.count(), Promise.objects.get().number) == (1, 1)
    assert Line.objects.order_by("pk")[0].turn == 2


SMALL = {
    "LINES": 4, "TUBS": 13, "ENTRIES": 700, "ORDERS": 25, "PEOPLE": 12, "CLOSED_TUBS": 1, "CUP_LINES": 1, "HELD": 3,
    "PAID": 6, "WAITING_BOXES": 2, "CANCELLED": 5,
}  # fmt: skip


@pytest.mark.django_db
def test_the_big_book_is_one_that_the_tool_itself_could_have_written(monkeypatch: pytest.MonkeyPatch) -> None:
    for name, number in SMALL.items():
        monkeypatch.setattr(big_book, name, number)
    book = big_book.make(timezone.now())
    assert (Culture.objects.count(), Entry.objects.count()) == (13, 700)
    assert (Order.objects.count(), Person.objects.count()) == (25, 12)
    assert not list(ledger_check.differences())
    assert Belief.objects.filter(counted_at__isnull=False).exists()
    client = pages._logged_in(book.keeper)
    paths = [f"/{path}" for path in pages._addresses(book)]
    assert len(paths) > 80
    found, left_out = pages._pages(client, ["/tubs/", "/orders/?status=all", "/tubs/correct/", "/round/sheet/"], 0.001)
    assert {page["path"] for page in found} == {"/tubs/", "/orders/?status=all", "/round/sheet/"}
    assert all(0 < page["queries"] < 30 and page["kb"] > 1 for page in found)
    assert left_out == ["/tubs/correct/: 404"]
    label = big_book_work.printed(client, f"/paper/{book.box.number}/address-label.pdf")
    assert label["ms"] >= label["drawing_ms"] > 0
    record_count(book.tub.pk, "young", "hand", {"counted": 9_000}, by=None)
    assert big_book_work.agreed()["queries"] > 10
