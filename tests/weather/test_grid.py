"""Readings are put on whole UTC hours; short gaps are interpolated and flagged, nothing is extrapolated."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breeder.weather import hour_grid

NOON = datetime(2026, 3, 7, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)


def test_gaps_of_up_to_three_hours_are_drawn_along_a_line_and_flagged() -> None:
    filled, flags = hour_grid.fill_short_gaps([4.0, None, None, None, 8.0])
    assert filled == [4.0, 5.0, 6.0, 7.0, 8.0]
    assert flags == [False, True, True, True, False]


def test_a_gap_of_four_hours_stays_missing() -> None:
    values = [4.0, None, None, None, None, 8.0]
    assert hour_grid.fill_short_gaps(values) == (values, [False] * 6)


@given(st.lists(st.one_of(st.none(), st.floats(-50, 50)), min_size=1, max_size=60))
def test_filling_never_touches_what_is_known_and_never_reaches_past_an_end(values: list[float | None]) -> None:
    filled, flags = hour_grid.fill_short_gaps(values)
    known = [index for index, value in enumerate(values) if value is not None]
    assert all(filled[index] == values[index] and not flags[index] for index in known)
    outside = [index for index in range(len(values)) if not known or not known[0] <= index <= known[-1]]
    assert all(filled[index] is None for index in outside)


def test_reports_between_hours_are_drawn_to_the_hour_when_one_stands_on_either_side() -> None:
    readings = [(NOON - timedelta(minutes=9) + step * HOUR, 10.0 + 2 * step) for step in range(3)]
    starts_at, values = hour_grid.on_whole_hours(readings)
    assert starts_at == NOON
    assert values == pytest.approx([10.3, 12.3])


def test_three_hourly_values_leave_the_hours_between_missing_as_received() -> None:
    readings = [(NOON + 3 * step * HOUR, float(step)) for step in range(3)]
    assert hour_grid.on_whole_hours(readings)[1] == [0.0, None, None, 1.0, None, None, 2.0]


def test_reports_hours_apart_and_off_the_hour_give_no_hour() -> None:
    readings = [(NOON + timedelta(minutes=30), 1.0), (NOON + timedelta(hours=3, minutes=30), 2.0)]
    assert hour_grid.on_whole_hours(readings)[1] == [None, None, None]


def test_a_single_hour_off_both_neighbors_is_a_sensor_fault_and_a_front_is_not() -> None:
    assert hour_grid.without_spikes([13.9, 13.9, -10.5, 14.0]) == ([13.9, 13.9, None, 14.0], (2,))
    front = [20.0, 8.0, 7.0, 6.0]
    assert hour_grid.without_spikes(front) == (front, ())


def test_hours_between_hold_both_ends() -> None:
    hours = hour_grid.hours_between(NOON + timedelta(minutes=20), NOON + timedelta(hours=2, minutes=5))
    assert hours == tuple(NOON + step * HOUR for step in range(4))
    assert hour_grid.hours_between(NOON, NOON) == (NOON,)
