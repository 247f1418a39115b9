"""A box across four time zones and both clock changes: no hour is lost, doubled, or misplaced."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from breeder.core.thermal.ensemble_draws import draws
from breeder.core.transit import ambient_ensemble
from breeder.core.transit.delivery_days import Timing, delivery_days
from breeder.core.transit.itinerary import HOUR, DelayCase, ServiceTimes, delay_cases
from breeder.core.transit.place_air import Ends
from breeder.core.transit.weather_hours import Hours

TIMES = ServiceTimes(time(16), time(9), time(17), 4.0)
TIMING = Timing(frozenset({0, 1, 2}), usual_days=2, latest_days=4)

# From Pacific through Mountain and Central to Eastern time and back; half-hour and quarter-hour zones; clocks that move
# by half an hour (Lord Howe), on days of their own (London), and never (Phoenix, Kolkata).
WAYS = [
    ("America/Los_Angeles", "America/New_York"),
    ("America/New_York", "America/Los_Angeles"),
    ("America/Adak", "America/New_York"),
    ("America/Phoenix", "America/Denver"),
    ("Australia/Sydney", "Australia/Lord_Howe"),
    ("Australia/Lord_Howe", "Australia/Adelaide"),
    ("Europe/London", "Europe/Berlin"),
    ("Asia/Kolkata", "Asia/Kathmandu"),
]
# Shipped on the Friday before clocks go forward or back, in the United States, Europe and Australia.
NIGHTS = [
    date(2026, 3, 6), date(2026, 10, 30), date(2026, 3, 27), date(2026, 10, 23), date(2026, 4, 3), date(2026, 10, 2)
]  # fmt: skip


def cases(post_on: date, origin: str, destination: str) -> tuple[DelayCase, ...]:
    return delay_cases(
        post_on, delivery_days(TIMING, post_on, ()), TIMES, to_counter=False,
        origin=ZoneInfo(origin), destination=ZoneInfo(destination),
    )  # fmt: skip


@pytest.mark.parametrize("post_on", NIGHTS, ids=str)
@pytest.mark.parametrize(("origin", "destination"), WAYS, ids="{0}".format)
def test_legs_meet_on_the_clocks_of_their_own_places(post_on: date, origin: str, destination: str) -> None:
    for case in cases(post_on, origin, destination):
        assert all(before.ends_at == after.starts_at for before, after in zip(case.legs, case.legs[1:], strict=False))
        assert all(leg.ends_at > leg.starts_at for leg in case.legs)
        assert sum((leg.ends_at - leg.starts_at for leg in case.legs), timedelta()) == (
            case.legs[-1].ends_at - case.legs[0].starts_at
        )
        given = case.legs[0].starts_at.astimezone(ZoneInfo(origin))
        van = case.legs[2].starts_at.astimezone(ZoneInfo(destination))
        assert (given.date(), given.time()) == (post_on, time(16))
        assert (van.date(), van.time()) == (case.delivered_on, time(9))


@pytest.mark.parametrize("post_on", NIGHTS, ids=str)
@pytest.mark.parametrize(("origin", "destination"), WAYS, ids="{0}".format)
def test_hours_of_a_case_are_whole_utc_hours_each_once(post_on: date, origin: str, destination: str) -> None:
    for case in cases(post_on, origin, destination):
        assert all(at.minute == 0 and at.utcoffset() == timedelta() for at in case.times)
        steps = {after - before for before, after in zip(case.times, case.times[1:], strict=False)}
        assert steps == {HOUR}
        assert case.times[0] <= case.legs[0].starts_at < case.times[1]
        assert case.times[-2] < case.legs[-1].ends_at <= case.times[-1]


@pytest.mark.parametrize(
    ("origin", "destination", "post_on", "hours"),
    [
        # 16:00 in Los Angeles is 19:00 in New York: three hours less than the 41 within one zone.
        ("America/Los_Angeles", "America/New_York", date(2026, 6, 1), 38),
        ("America/New_York", "America/Los_Angeles", date(2026, 6, 1), 44),
        # Over the night that loses an hour, and over the one that gets it back.
        ("America/Los_Angeles", "America/New_York", date(2026, 3, 7), 37),
        ("America/Los_Angeles", "America/New_York", date(2026, 10, 31), 39),
        # Lord Howe moves by half an hour; Sydney by a whole one on the same night.
        ("Australia/Lord_Howe", "Australia/Lord_Howe", date(2026, 10, 3), 40.5),
        ("Australia/Sydney", "Australia/Lord_Howe", date(2026, 10, 3), 40),
        ("Australia/Sydney", "Australia/Lord_Howe", date(2026, 4, 4), 41.5),
    ],
)
def test_the_way_takes_as_long_as_it_really_does(origin: str, destination: str, post_on: date, hours: float) -> None:
    zones = ZoneInfo(origin), ZoneInfo(destination)
    on_time = delay_cases(
        post_on, delivery_days(Timing(frozenset(range(7)), 2, 4, (1.0,)), post_on, ()), TIMES, to_counter=False,
        origin=zones[0], destination=zones[1],
    )[0]  # fmt: skip
    two_days_later = datetime.combine(post_on + timedelta(days=2), time(9), tzinfo=zones[1])
    if on_time.delivered_on == two_days_later.date():
        assert (on_time.legs[2].starts_at - on_time.legs[0].starts_at) / HOUR == hours
    else:
        late = (on_time.delivered_on - two_days_later.date()).days
        assert (on_time.legs[2].starts_at - on_time.legs[0].starts_at) / HOUR == hours + 24 * late


@pytest.mark.parametrize(("origin", "destination"), WAYS, ids="{0}".format)
def test_each_hour_of_air_stands_under_its_own_hour(origin: str, destination: str) -> None:
    """Hours with their own number as temperature come out in that order, also when clocks change."""
    post_on = date(2026, 3, 6)
    first = datetime(2026, 3, 5, tzinfo=UTC)
    ends = Ends(*(_counted(first, zone) for zone in (origin, destination)))
    drawn = draws(5, 4).without_weather_error()
    every = cases(post_on, origin, destination)
    around = ambient_ensemble.MemberAir(drawn).ambient_cases(ambient_ensemble.shape_from_cases(every), *ends.airs)
    for case, rows in zip(every, (each.ambient_c.T for each in around), strict=True):
        assert len(rows) == len(case.times)
        network = [index for index, at in enumerate(case.times) if case.leg_at(at).label == "network"]
        hub_c = rows[network].mean(axis=1)
        # A depot follows the air outside in part, by the same part in all of its hours: none is lost or doubled.
        expected = np.array([(case.times[index] - first) / HOUR for index in network])
        assert np.diff(hub_c) == pytest.approx(np.diff(expected) * np.diff(hub_c)[0], abs=0.05)
        assert np.diff(hub_c)[0] > 0.1


def _counted(first: datetime, zone: str) -> Hours:
    number = 14 * 24
    return Hours(
        "Somewhere", 40.0, -100.0, zone, tuple(first + step * HOUR for step in range(number)),
        tuple(float(step) for step in range(number)), (first,) * number, (0.0,) * number, (False,) * number, ("x",), (),
    )  # fmt: skip
