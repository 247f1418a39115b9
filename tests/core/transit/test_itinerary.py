"""Test a box's journey in UTC: depot, network, van, doorstep or counter; Sundays and closures are extra nights."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from breeder.core.transit.delivery_days import Timing, delivery_days
from breeder.core.transit.exposure import Template
from breeder.core.transit.itinerary import HOUR, DelayCase, Exposure, ServiceTimes, Where, delay_cases, journey_legs
from breeder.core.transit.local_time import moment

NEW_YORK, CHICAGO, PHOENIX = ZoneInfo("America/New_York"), ZoneInfo("America/Chicago"), ZoneInfo("America/Phoenix")
LORD_HOWE = ZoneInfo("Australia/Lord_Howe")
TIMES = ServiceTimes(time(16), time(9), time(17), 4.0)
MONDAY = date(2026, 2, 2)


def legs(post_on: date, delivered_on: date, **how: object) -> tuple:
    how = {"to_counter": False, "origin": NEW_YORK, "destination": CHICAGO} | how
    return journey_legs(post_on, delivered_on, TIMES, **how)  # type: ignore[arg-type]


def test_the_way_to_a_doorstep_has_four_legs_without_a_gap() -> None:
    way = legs(MONDAY, date(2026, 2, 4))
    assert [(leg.label, leg.where, leg.exposure) for leg in way] == [
        ("collected", Where.ORIGIN, Exposure.VAN),
        ("network", Where.BETWEEN, Exposure.HUB),
        ("van", Where.DESTINATION, Exposure.VAN),
        ("doorstep", Where.DESTINATION, Exposure.DOORSTEP),
    ]
    assert all(before.ends_at == after.starts_at for before, after in zip(way, way[1:], strict=False))
    assert way[0].starts_at == datetime(2026, 2, 2, 21, tzinfo=UTC)
    assert way[1].starts_at == datetime(2026, 2, 3, 1, tzinfo=UTC)
    assert way[2].starts_at == datetime(2026, 2, 4, 15, tzinfo=UTC)
    assert way[3].starts_at == datetime(2026, 2, 4, 19, tzinfo=UTC)
    assert way[3].ends_at == datetime(2026, 2, 4, 23, tzinfo=UTC)


def test_a_counter_leaves_out_van_and_doorstep() -> None:
    way = legs(MONDAY, date(2026, 2, 4), to_counter=True)
    assert [leg.exposure for leg in way] == [Exposure.VAN, Exposure.HUB, Exposure.COUNTER]
    assert way[-1].ends_at == datetime(2026, 2, 4, 23, tzinfo=UTC)


def test_sundays_and_closures_inside_a_late_case_are_nights_in_the_network() -> None:
    timing = Timing(frozenset({0, 1, 2, 3}), usual_days=2, latest_days=4, delay_shares=(0.9, 0.1))
    thursday = date(2026, 2, 5)
    cases = delay_cases(
        thursday,
        delivery_days(timing, thursday, [date(2026, 2, 9)]),
        TIMES,
        to_counter=False,
        origin=NEW_YORK,
        destination=CHICAGO,
    )
    assert [(case.name, case.weight, case.delivered_on) for case in cases] == [
        ("on time", 0.9, date(2026, 2, 7)),
        ("1 day late", pytest.approx(0.1), date(2026, 2, 10)),
    ]
    network = cases[1].legs[1]
    assert network.ends_at - network.starts_at == timedelta(days=4, hours=14)


def test_a_case_reads_its_legs_hour_by_hour_to_the_end() -> None:
    case = DelayCase("on time", 1.0, date(2026, 2, 4), legs(MONDAY, date(2026, 2, 4)))
    assert case.hours == 50
    assert len(case.times) == 51
    labels = [case.leg_at(at).label for at in case.times]
    assert labels.count("collected") == 4
    assert labels.count("van") == 4
    assert labels[-1] == "doorstep"


@pytest.mark.parametrize(
    "on, origin, destination, hours",
    [
        (date(2026, 3, 7), NEW_YORK, NEW_YORK, 40),  # the night when clocks go forward is an hour shorter
        (date(2026, 10, 31), NEW_YORK, NEW_YORK, 42),
        (date(2026, 3, 7), PHOENIX, PHOENIX, 41),
        (date(2026, 4, 4), LORD_HOWE, LORD_HOWE, 41.5),  # half an hour more
    ],
)
def test_nights_of_changing_clocks_have_their_true_length(
    on: date, origin: ZoneInfo, destination: ZoneInfo, hours: float
) -> None:
    way = legs(on, on + timedelta(days=2), origin=origin, destination=destination)
    assert (way[-2].starts_at - way[0].starts_at) / HOUR == hours


def test_a_late_cut_off_still_leaves_an_hour_to_be_collected() -> None:
    late = ServiceTimes(time(21), time(9), time(17), 0.0)
    way = journey_legs(MONDAY, date(2026, 2, 4), late, to_counter=False, origin=NEW_YORK, destination=NEW_YORK)
    assert way[0].ends_at - way[0].starts_at == HOUR
    assert [leg.label for leg in way] == ["collected", "network", "van"]


def test_an_early_truck_and_a_short_round_move_the_legs() -> None:
    known = replace(TIMES, template=Template(truck_at=time(18, 30), van_h=1.5))
    way = journey_legs(MONDAY, date(2026, 2, 4), known, to_counter=False, origin=NEW_YORK, destination=NEW_YORK)
    spans = {leg.label: (leg.ends_at - leg.starts_at) / HOUR for leg in way}
    assert spans == {"collected": 2.5, "network": 38.5, "van": 1.5, "doorstep": 4.0}


def test_a_time_that_the_clocks_skip_is_the_moment_they_jump_to() -> None:
    assert moment(date(2026, 3, 8), time(2, 30), NEW_YORK) == datetime(2026, 3, 8, 7, 30, tzinfo=UTC)
