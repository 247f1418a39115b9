"""Hours of a place: the freshest source wins hour by hour, gaps stay, and the sources are named."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest

from breeder.weather import sample_data, steps
from breeder.weather.models import Forecast, Place
from breeder.weather.queries import hours_for

pytestmark = pytest.mark.django_db

NOON = datetime(2026, 3, 7, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)
ZONE = "America/New_York"


@pytest.fixture
def place(db: None) -> Place:
    return steps.place_for("40.224", "-74.763", ZONE, "Trenton")


def keep(
    place: Place, values: list[float | None], *, issued: datetime = NOON, start: datetime = NOON, **how: Any
) -> Forecast:
    source = how.pop("source", Forecast.Source.FILE)
    return steps.keep_hours(place, source, start, values, issued_at=issued, received_at=issued, **how)


def test_a_place_is_rounded_and_kept_once(place: Place) -> None:
    assert (place.latitude, place.longitude) == (Decimal("40.22"), Decimal("-74.76"))
    assert steps.place_for(40.2249, -74.7551, ZONE, "Another name") == place
    assert Place.objects.count() == 1


@pytest.mark.parametrize(
    "north, east, zone",
    [
        (None, None, ZONE),
        (0, 0, ZONE),
        ("0.001", "-0.004", ZONE),
        (91, 0, ZONE),
        (40.2, 74.8, ZONE),
        (40.2, -74.8, "Moon/Sea"),
    ],
)
def test_a_place_that_is_nowhere_is_refused(north: Any, east: Any, zone: str) -> None:
    with pytest.raises(steps.PlaceUnknown):
        steps.place_for(north, east, zone, "Nowhere")
    assert not Place.objects.exists()


def test_missing_hours_stay_missing_and_nothing_is_carried_past_an_end(place: Place) -> None:
    keep(place, [1.0, 2.0, None, None, None, None, 7.0, None])
    hours = hours_for(place, NOON - HOUR, NOON + 8 * HOUR)
    assert hours.c == (None, 1.0, 2.0, None, None, None, None, 7.0, None, None)
    assert len(hours.missing) == 7
    assert not any(hours.filled)


def test_short_gaps_are_filled_flagged_and_spread(place: Place) -> None:
    keep(place, [1.0, None, None, 4.0], extra_sd_c=0.8)
    hours = hours_for(place, NOON, NOON + 3 * HOUR)
    assert hours.c == (1.0, 2.0, 3.0, 4.0)
    assert hours.filled == (False, True, True, False)
    assert hours.extra_sd_c == pytest.approx((0.8, 1.0, 1.0, 0.8))


def test_the_freshest_source_wins_hour_by_hour_and_the_oldest_in_use_dates_them(place: Place) -> None:
    keep(place, [1.0] * 6, issued=NOON - 9 * HOUR, credit="old", source=Forecast.Source.BY_HAND)
    keep(place, [5.0] * 3, issued=NOON - 2 * HOUR, credit="new")
    hours = hours_for(place, NOON, NOON + 5 * HOUR)
    assert hours.c == (5.0, 5.0, 5.0, 1.0, 1.0, 1.0)
    assert hours.issued_at == NOON - 9 * HOUR
    assert hours.credits == ("new", "old")
    assert hours.source == "file of hours and lows and highs typed by hand"
    only_new = hours_for(place, NOON, NOON + 2 * HOUR)
    assert (only_new.issued_at, only_new.credits) == (NOON - 2 * HOUR, ("new",))


def test_sources_issued_before_a_moment_are_left_out(place: Place) -> None:
    keep(place, [1.0] * 6, issued=NOON - 49 * HOUR)
    hours = hours_for(place, NOON, NOON + 5 * HOUR, issued_since=NOON - 48 * HOUR)
    assert set(hours.c) == {None}
    assert (hours.issued_at, hours.source) == (None, "no hours")


def test_hours_of_another_place_are_never_used(place: Place) -> None:
    keep(steps.place_for("41.00", "-74.76", ZONE, "North"), [1.0] * 6)
    assert set(hours_for(place, NOON, NOON + HOUR).c) == {None}


def test_the_recorded_year_is_whole_but_for_its_gaps_and_its_sensor_fault() -> None:
    for code in sample_data.STATIONS:
        starts_at, values = sample_data.station_hours(code)
        assert starts_at == datetime(2013, 1, 1, 6, tzinfo=UTC)
        assert len(values) == 8730
        assert sum(value is None for value in values) == (25 if code == "JFK" else 24)
    faulty = sample_data.station_slice("JFK", datetime(2013, 5, 9, 1, tzinfo=UTC), 3)
    assert faulty == [13.9, None, 14.0]
    raw = (sample_data.FOLDER / "jfk_2013.csv").read_text()
    assert "2013-05-09T02:00Z,-10.5" in raw


def test_recorded_hours_are_shown_on_other_days_and_say_so(place: Place) -> None:
    kept = steps.keep_recorded(
        place,
        "LGA",
        read_from=datetime(2013, 7, 15, 16, tzinfo=UTC),
        shown_from=NOON,
        hours=48,
        issued_at=NOON,
        shift_c=1.5,
    )
    plain = sample_data.station_slice("LGA", datetime(2013, 7, 15, 16, tzinfo=UTC), 48)
    assert kept.hours_c == pytest.approx([value + 1.5 for value in plain if value is not None])
    assert kept.starts_at == NOON
    assert "15 July 2013" in kept.credit
    assert "+1.5 °C" in kept.credit


def test_hours_outside_the_recorded_year_are_missing(place: Place) -> None:
    assert sample_data.station_slice("LGA", datetime(2012, 12, 31, 20, tzinfo=UTC), 12) == [None] * 10 + [4.4, 5.0]
