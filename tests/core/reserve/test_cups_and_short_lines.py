"""Cups after their rest, and who waits when a line is short."""

from datetime import UTC, date, datetime

from breeder.core.reserve.allocation import PromiseToCover, cover_promises, shortage_text
from breeder.core.reserve.cup_stock import CupTub, cups_ready, free_cups, next_cup_on

TODAY = date(2026, 3, 1)


def tub(number: int, taken: date | None, purpose: str = "breeding", cups: int = 2) -> CupTub:
    return CupTub(number, purpose, cups, 28, taken)


def test_a_tub_gives_its_cups_again_on_the_day_its_rest_ends() -> None:
    assert cups_ready(tub(1, date(2026, 2, 1)), TODAY) == 2
    assert cups_ready(tub(1, date(2026, 2, 2)), TODAY) == 0
    assert cups_ready(tub(1, None), TODAY) == 2
    assert cups_ready(tub(1, None, "quarantine"), TODAY) == 0


def test_free_cups_are_those_rested_less_kept_and_promised() -> None:
    tubs = [tub(1, None), tub(2, date(2026, 2, 20)), tub(3, date(2026, 2, 10)), tub(4, None, "growing")]
    free = free_cups(tubs, TODAY, promised=1, kept_back=1)
    assert (free.number, free.short, free.lower) == (2, 0, 4)
    assert "10 March 2026" in free.why[1]
    assert next_cup_on(tubs, TODAY) == date(2026, 3, 10)
    assert next_cup_on([tub(1, None)], TODAY) is None


def test_cups_promised_beyond_rest_are_short() -> None:
    free = free_cups([tub(1, None)], TODAY, promised=5)
    assert (free.number, free.short) == (0, 3)
    assert "Short by 3" in free.why[-1]
    assert free_cups([], TODAY, promised=1, kept_back=1).short == 1


def at(day: int) -> datetime:
    return datetime(2026, 2, day, 12, tzinfo=UTC)


def test_promises_are_covered_in_the_order_paid_then_made() -> None:
    late_paid = PromiseToCover("b", 10, at(2), paid_at=at(9))
    early_paid = PromiseToCover("c", 10, at(5), paid_at=at(6))
    promises = [PromiseToCover("a", 10, at(1)), late_paid, early_paid, PromiseToCover("d", 10, at(3))]
    covered = cover_promises(promises, 25)
    assert [(c.promise.ref, c.covered, c.missing) for c in covered] == [
        ("c", 10, 0),
        ("b", 10, 0),
        ("a", 5, 5),
        ("d", 0, 10),
    ]
    assert [c.missing for c in cover_promises(promises, -3)] == [10] * 4


def test_a_short_line_comes_with_choices_and_a_covered_one_without() -> None:
    assert shortage_text(0, True, True) == ()
    assert shortage_text(4, True, False)[0].startswith("Count the line: 4")
    assert any("Leave the tub open" in choice for choice in shortage_text(4, False, True))
    assert all("reason" in choice or "4" in choice for choice in shortage_text(4, False, False))
