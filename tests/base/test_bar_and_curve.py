"""The bar of animals and the box curve draw what their numbers say."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breeder.base.stock_bar import Bar
from breeder.base.temperature_chart import BOTTOM, TOP, BoxCurve, drawn

START = datetime(2026, 3, 2, 21, tzinfo=UTC)


@given(st.integers(0, 900), st.integers(0, 90), st.integers(0, 900), st.integers(0, 900))
def test_a_bar_fills_its_width_exactly(stays: int, promised: int, free: int, doubt: int) -> None:
    parts = Bar(stays, promised, free, 0, doubt).parts()
    assert sum(part.width for part in parts) == pytest.approx(100 if stays + promised + free + doubt else 0)
    assert all(part.width > 0 for part in parts)


def test_what_is_short_is_drawn_instead_of_the_promise_it_leaves_open() -> None:
    bar = Bar(stays=30, promised=10, free=0, short=6)
    assert {part.name: part.width for part in bar.parts(scale=100)} == {"stays": 30, "promised": 4, "short": 6}
    assert "short by 6" in bar.said()


def curve(hours: int = 48, **values: object) -> BoxCurve:
    times = tuple(START + timedelta(hours=hour) for hour in range(hours + 1))
    flat = {"middle": 15.0, "low": 12.0, "high": 18.0, "outside": 4.0}
    rows = {name: tuple([value] * (hours + 1)) for name, value in flat.items()}
    return BoxCurve(
        times=times, comfort=(7, 29), hard=(0, 36), legs=((0, "counter"), (4, "network")), **(rows | values)
    )


def test_the_curve_sits_where_its_degrees_are() -> None:
    picture = drawn(curve(), fahrenheit=False)
    heights = {float(step.split(" ")[1]) for step in picture["middle"].replace("M", "L").split("L") if step}
    assert len(heights) == 1
    (height,) = heights
    bottom, top = picture["cold_y"], picture["fine_y"]
    assert top < height < bottom
    assert height == pytest.approx(bottom - (15 - 7) / (29 - 7) * (bottom - top), abs=0.2)
    assert TOP <= top < bottom <= BOTTOM


def test_fahrenheit_draws_the_same_picture_with_other_words() -> None:
    celsius, fahrenheit = (drawn(curve(), fahrenheit=unit) for unit in (False, True))
    assert fahrenheit["unit"] == "°F"
    assert fahrenheit["comfort_low"] == pytest.approx(44.6)
    assert len(celsius["rows"]) == len(fahrenheit["rows"]) == 18


def test_a_missing_hour_is_a_gap_in_the_line() -> None:
    gap = tuple(None if 10 <= hour < 13 else 15.0 for hour in range(49))
    picture = drawn(curve(middle=gap, low=gap, high=gap), fahrenheit=False)
    assert picture["middle"].count("M") == 2
    assert len(picture["bands"]) == 2


def test_all_hours_missing_still_draws_the_limits() -> None:
    nothing = tuple([None] * 49)
    picture = drawn(curve(middle=nothing, low=nothing, high=nothing, outside=nothing), fahrenheit=False)
    assert picture["middle"] == ""
    assert picture["coldest"] is None
    assert {tick["said"] for tick in picture["ticks"]} >= {"7°", "29°"}


def test_a_trial_on_no_day_counts_its_hours_from_the_start() -> None:
    picture = drawn(replace(curve(), times=None), fahrenheit=False)
    assert (picture["first"], picture["last"]) == ("hour 0", "hour 48")
    assert picture["rows"][1]["at"] == "hour 3"
    assert drawn(curve(), fahrenheit=False)["first"] != "hour 0"
