"""Numbers as a keeper says them."""

from datetime import date
from decimal import Decimal

import pytest

from breeder.core import units
from breeder.pages import words


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"),
    # Pairs used in the live-animal trade, two decimals; arithmetic of the definition of the degree Fahrenheit.
    [
        (20, -6.67),
        (32, 0.00),
        (38, 3.33),
        (45, 7.22),
        (50, 10.00),
        (85, 29.44),
        (95, 35.00),
        (100, 37.78),
        (104, 40.00),
    ],
)
def test_degrees_agree_with_the_trade_pairs(fahrenheit: float, celsius: float) -> None:
    assert round(units.to_celsius(fahrenheit), 2) == celsius
    assert units.to_fahrenheit(units.to_celsius(fahrenheit)) == pytest.approx(fahrenheit)


def test_a_temperature_has_its_unit_and_a_real_minus() -> None:
    assert units.degrees(-4.6, fahrenheit=False) == "\u22125 °C"
    assert units.degrees(-0.3, fahrenheit=False) == "0 °C"
    assert units.degrees(7, fahrenheit=True) == "45 °F"
    assert units.degrees(None, fahrenheit=True) == "–"


def test_a_difference_of_temperatures_is_scaled_but_not_shifted() -> None:
    assert units.degree_span(5, fahrenheit=True) == "9.0 °F"


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (None, "not known"),
        (0, "never"),
        (0.0025, "about 1 in 400"),
        (0.11, "about 1 in 9"),
        (0.5, "about 1 in 2"),
        (0.66, "about 2 in 3"),
        (0.9, "about 9 in 10"),
        (0.98, "about 98 in 100"),
        (1, "certain"),
    ],
)
def test_odds_are_said_as_a_person_pictures_them(share: float | None, said: str) -> None:
    assert words.odds(share) == said


def test_days_are_said_near_and_far() -> None:
    today = date(2026, 3, 1)
    assert words.ago(today, today) == "today"
    assert words.ago(date(2026, 2, 20), today) == "9 days ago"
    assert words.ago(date(2026, 3, 4), today) == "in 3 days"
    assert words.ago(None, today) == "never"


def test_money_has_two_decimals_and_its_currency() -> None:
    assert words.money(Decimal("24"), "USD") == "24.00 USD"
    assert words.money(None, "USD") == "–"
