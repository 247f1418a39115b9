"""Shipping days, delivery days and holidays."""

from datetime import date

import holidays as reference
import pytest

from breeder.carriers.federal_holidays import federal_holidays
from breeder.core.transit.delivery_days import Timing, delivery_days, shipping_days, years_without_closures

OVERNIGHT = Timing(frozenset({0, 1, 2}), usual_days=1, latest_days=2)
TWO_DAY = Timing(frozenset({0, 1, 2, 3, 4}), usual_days=2, latest_days=4)
MONDAY = date(2026, 6, 1)  # two weeks without a holiday follow


def usable(timing: Timing, closures: tuple[date, ...] = (), start: date = MONDAY) -> list[str]:
    return [f"{day.on:%a}" for day in shipping_days(timing, closures, start, 7) if day.usable]


@pytest.mark.parametrize("shares", [(0.57, 0.06, 0.37, 0.0), (0.5, 0.504, 0.0), (0.87, 0.09, 0.036, 0.0)])
def test_a_rest_never_goes_to_a_day_on_which_no_parcel_comes(shares: tuple[float, ...]) -> None:
    timing = Timing(frozenset({0, 1}), usual_days=2, latest_days=4, delay_shares=shares)
    cases = delivery_days(timing, date(2026, 6, 1), ())
    assert [case.days_late for case in cases] == list(range(len(shares) - 1))
    assert sum(case.share for case in cases) == pytest.approx(1)


def test_a_two_day_service_is_used_early_in_the_week() -> None:
    """Common practice, no source: Monday and Tuesday, not Thursday, for a service that may take four days."""
    assert usable(TWO_DAY) == ["Mon", "Tue"]


def test_overnight_is_used_from_monday_to_wednesday() -> None:
    """Common practice, no source."""
    assert usable(OVERNIGHT) == ["Mon", "Tue", "Wed"]


def test_after_a_monday_holiday_the_week_begins_on_tuesday() -> None:
    assert usable(TWO_DAY, closures=(MONDAY,)) == ["Tue"]
    assert usable(OVERNIGHT, closures=(MONDAY,)) == ["Tue", "Wed"]


def test_a_day_that_may_not_be_used_says_why() -> None:
    days = shipping_days(TWO_DAY, (), MONDAY, 7)
    assert "cross the Sunday" in days[3].why_not
    assert "not used on a Saturday" in days[5].why_not
    closed = shipping_days(TWO_DAY, (date(2026, 6, 3),), MONDAY, 7)
    assert "closure on 3 June" in closed[0].why_not


def test_delay_cases_add_up_and_sundays_are_nights_in_the_box() -> None:
    cases = delivery_days(TWO_DAY, date(2026, 6, 4), ())  # a Thursday
    assert [(case.name, case.on) for case in cases] == [
        ("on time", date(2026, 6, 6)),
        ("1 day late", date(2026, 6, 8)),
        ("2 days late", date(2026, 6, 9)),
    ]
    assert sum(case.share for case in cases) == pytest.approx(1)


@pytest.mark.parametrize("year", range(2021, 2036))
def test_holidays_agree_with_the_reference_library(year: int) -> None:
    """Package `holidays` (US, observed): the same days, but the post office keeps Saturday holidays on Saturday."""
    theirs = reference.country_holidays("US", years=year, observed=False)
    ours = {holiday.on for holiday in federal_holidays(year)}
    shifted = {day if day.weekday() != 6 else day.replace(day=day.day + 1) for day in theirs}
    assert ours == shifted


def test_next_years_missing_closures_are_noticed() -> None:
    known = [holiday.on for holiday in federal_holidays(2026)]
    assert years_without_closures(known, date(2026, 12, 24)) == (2027,)
    assert years_without_closures(known, date(2026, 6, 1)) == ()
