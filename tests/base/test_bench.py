"""The parts of the stock benchmark still do what they say; how fast is no matter of a test."""

import io
import sys

import pytest

from breeder.cultures.models import Entry, Promise
from breeder.evaluation.benchmarks import stock_speed
from breeder.orders.models import Order
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
