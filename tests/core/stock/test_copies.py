"""A belief that is read on another day keeps all that does not change with the day."""

from dataclasses import fields, replace
from datetime import date, timedelta

from breeder.core.stock.belief import CountUpdate, LogNormalAnimals, StockBelief, aged, with_calendar_days
from breeder.core.stock.events import Ageing

COUNTED = date(2026, 3, 1)
SOURCE = LogNormalAnimals(120.0, 0.2, 0.1, COUNTED, cap=130.0, floor=40.0, reach=((0.95, 1.0),), left=0.9, waited=0.5)
USED = CountUpdate("fused", 100.0, 0.3, 0.1, 120.0, 0.2, 0.1)
WHOLE = StockBelief((SOURCE,), COUNTED, -3, 5.0, COUNTED, USED, 7.0, 118.0)
CHANGES_WITH_THE_DAY = {"sources", "begun_on", "counted_on"}


def test_every_field_of_the_example_differs_from_its_default() -> None:
    """Otherwise a field that is dropped would not be missed."""
    plain = StockBelief((), COUNTED)
    assert [each.name for each in fields(StockBelief) if getattr(WHOLE, each.name) == getattr(plain, each.name)] == [
        "begun_on"
    ]


def test_a_belief_read_on_another_day_keeps_every_other_field() -> None:
    later = COUNTED + timedelta(days=60)
    for read in (with_calendar_days(WHOLE, lambda at: at), aged(WHOLE, later, Ageing(), "adults")):
        for each in fields(StockBelief):
            if each.name not in CHANGES_WITH_THE_DAY:
                assert getattr(read, each.name) == getattr(WHOLE, each.name), each.name
    assert with_calendar_days(WHOLE, lambda at: at) == WHOLE
    assert with_calendar_days(WHOLE, lambda at: at + timedelta(days=1)).sources == (
        replace(SOURCE, since=date(2026, 3, 2)),
    )
