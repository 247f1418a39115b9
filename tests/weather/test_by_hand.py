"""Lows and highs typed by hand become hours along the usual course of a day; hours that need another day stay open."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
import time_machine
from django.core.exceptions import ValidationError

from breeder.weather import daily_min_max, sample_data
from breeder.weather.daily_min_max import DayExtremes

NEW_YORK = ZoneInfo("America/New_York")
MONDAY = date(2026, 3, 2)


def days(*pairs: tuple[float, float]) -> list[DayExtremes]:
    return [DayExtremes(MONDAY + timedelta(days=ahead), low, high) for ahead, (low, high) in enumerate(pairs)]


def test_the_hours_reach_from_low_to_high_and_are_missing_where_a_neighbor_is() -> None:
    starts_at, values = daily_min_max.diurnal_hours(days((2, 10), (4, 14), (3, 12)), 40.7, -74.0, NEW_YORK)
    assert starts_at == datetime(2026, 3, 2, 5, tzinfo=UTC)
    assert len(values) == 72
    assert values[:6] == [None] * 6
    assert values[-5:] == [None] * 5
    middle = [value for value in values[24:48] if value is not None]
    assert len(middle) == 24
    assert min(middle) == pytest.approx(4, abs=1.0)
    assert max(middle) == pytest.approx(14, abs=0.4)


@pytest.mark.parametrize("code, expected", [("LGA", 1.67), ("JFK", 1.71)])
def test_parton_and_logan_stray_from_real_hours_by_1_7_degrees(code: str, expected: float) -> None:
    """RMSE given each day's true extremes: LGA 1.669, JFK 1.717 °C (computed from station reports of 2013, CC0)."""
    starts_at, values = sample_data.station_hours(code)
    station = sample_data.STATIONS[code]
    real = {starts_at + timedelta(hours=index): value for index, value in enumerate(values) if value is not None}
    year = [date(2013, 1, 2) + timedelta(days=ahead) for ahead in range(362)]
    typed = []
    for on in year:
        midnight = daily_min_max.standard_midnight(on, NEW_YORK)
        known = [
            real[midnight + timedelta(hours=hour)] for hour in range(24) if midnight + timedelta(hours=hour) in real
        ]
        typed.append(DayExtremes(on, min(known), max(known)))
    first, made = daily_min_max.diurnal_hours(typed, float(station.latitude), float(station.longitude), NEW_YORK)
    errors = [
        value - real[at]
        for index, value in enumerate(made)
        if value is not None and (at := first + timedelta(hours=index)) in real
    ]
    assert len(errors) > 8600
    assert float(np.sqrt(np.mean(np.square(errors)))) == pytest.approx(expected, abs=0.03)
    assert daily_min_max.SHAPE_SD_C == 1.7


@pytest.mark.parametrize("zone", ["Asia/Kolkata", "Australia/Lord_Howe"])
def test_zones_off_the_whole_hour_still_give_whole_utc_hours(zone: str) -> None:
    starts_at, values = daily_min_max.diurnal_hours(days((20, 30), (21, 31), (20, 29)), 20.0, 80.0, ZoneInfo(zone))
    assert starts_at.minute == 0
    assert sum(value is not None for value in values) > 50


@pytest.mark.parametrize("on", [date(2026, 3, 7), date(2026, 10, 31)])
def test_nights_in_which_clocks_change_lose_and_double_no_hour(on: date) -> None:
    typed = [DayExtremes(on + timedelta(days=ahead), 5, 15) for ahead in range(3)]
    _, values = daily_min_max.diurnal_hours(typed, 40.7, -74.0, NEW_YORK)
    known = [index for index, value in enumerate(values) if value is not None]
    assert known == list(range(known[0], known[-1] + 1))


@time_machine.travel(datetime(2026, 3, 1, tzinfo=UTC))
@pytest.mark.parametrize(
    "typed, sentence",
    [
        (days((80, 90)), "Monday 2 March, low: 80.0 °C is not an air temperature. If it was meant in °F"),
        (days((48, 50)), "Monday 2 March, low: 48.0 °C is hotter than air almost ever is"),
        (days((12, 4)), "the low of 12 °C is above the high of 4 °C. Swap them"),
        (
            [DayExtremes(MONDAY, 1, 2), DayExtremes(MONDAY + timedelta(days=3), 1, 2)],
            "the days must follow one another",
        ),
        ([], "No day is filled in"),
    ],
)
def test_days_that_cannot_be_are_refused_with_day_value_and_remedy(typed: list[DayExtremes], sentence: str) -> None:
    with pytest.raises(ValidationError) as refused:
        daily_min_max.checked_days(typed, fahrenheit=False)
    assert any(sentence in message for message in refused.value.messages)


def test_every_fault_is_named_at_once() -> None:
    with pytest.raises(ValidationError) as refused:
        daily_min_max.checked_days(days((12, 4), (99, 100)), fahrenheit=False)
    assert len(refused.value.messages) == 3
