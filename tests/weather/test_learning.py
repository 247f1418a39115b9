"""Measured hours teach a bias and a spread, little at first; learning never makes a forecast surer than usual."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as some

from breeder.base.queries import household
from breeder.core.thermal.forecast_error import high_share, low_sd_c
from breeder.weather import error_pairs, place_bias, queries, steps
from breeder.weather.models import ErrorPair, Forecast, Learnt, Observation, Place
from breeder.weather.place_bias import HourPair, learn_lesson
from breeder.weather.services.errors import BadResponse, NotCovered, ServiceTrouble
from breeder.weather.services.nws import NwsService
from breeder.weather.services.us_stations import StationReports, UsStations
from tests.weather import rogue
from tests.weather.rogue import says
from tests.weather.services import shapes
from tests.weather.services.shapes import HERE, NOW, answer
from tests.weather.test_refreshing import GEO, US, Clock, bring, by_path, choose

HOUR = timedelta(hours=1)


LONDON = ZoneInfo("Europe/London")
BY_NIGHT, BY_DAY = 4, 14


def pairs(days: int, error_c: float = 2.0, hours: Sequence[int] = range(24)) -> list[HourPair]:
    """Return forecasts of 10 °C issued at midnight, with what was measured."""
    midnight = NOW.replace(month=1, day=1, hour=0, minute=0)
    return [
        HourPair(start, start + hour * HOUR, 10.0, 10.0 + error_c)
        for start in (midnight + timedelta(days=day) for day in range(days))
        for hour in hours
    ]


def taught(some_pairs: Sequence[HourPair], usual: tuple[float, float] = (0.0, 0.0)) -> place_bias.Lesson:
    return learn_lesson(some_pairs, LONDON, 50.0, usual)


def test_without_pairs_the_defaults_count() -> None:
    lesson = taught([], (-0.65, 0.5))
    assert (lesson.low, lesson.high) == (place_bias.BiasSide(0, -0.65, 1.0), place_bias.BiasSide(0, 0.5, 1.0))


@pytest.mark.parametrize(("days", "bias"), [(1, 2 / 21), (20, 1.0), (80, 1.6)])
def test_a_bias_is_drawn_to_the_usual_one_by_twenty_days_weight(days: int, bias: float) -> None:
    lesson = taught(pairs(days))
    assert (lesson.low.days, lesson.high.days) == (days, days)
    assert lesson.low.bias_c == lesson.high.bias_c == pytest.approx(bias)
    assert taught(pairs(20), (-1.0, 2.0)).low.bias_c == pytest.approx(0.5)


def test_night_and_day_are_learned_apart() -> None:
    both = pairs(20, 3.0, [BY_DAY]) + pairs(20, -1.0, [BY_NIGHT]) + pairs(20, 9.0, [8, 20])
    lesson = taught(both)
    assert lesson.high.bias_c == pytest.approx(1.5)
    assert lesson.low.bias_c == pytest.approx(-0.5)


def test_a_spread_is_drawn_to_the_usual_one_by_thirty_days_weight() -> None:
    """Thirty days with three times the usual error give the root mean square of 3 and 1."""
    usual = float(low_sd_c(BY_NIGHT / 24, "winter"))
    some_pairs = pairs(15, 3 * usual, [BY_NIGHT]) + [
        HourPair(pair.issued_at - timedelta(days=15), pair.valid_at - timedelta(days=15), 10.0, 20.0 - pair.observed_c)
        for pair in pairs(15, 3 * usual, [BY_NIGHT])
    ]
    assert taught(some_pairs).low.share == pytest.approx(place_bias.MOST_SHARE)
    calmer = [replace(pair, observed_c=10.0 + pair.error_c / 2) for pair in some_pairs]
    assert taught(calmer).low.share == pytest.approx(((1.5**2 + 1) / 2) ** 0.5, abs=0.03)


def test_a_forecast_that_was_right_for_long_is_trusted_more_but_never_wholly() -> None:
    assert taught(pairs(10, 0.0)).high.share == pytest.approx((30 / 40) ** 0.5)
    assert taught(pairs(90, 0.0)).high.share == place_bias.LEAST_SHARE


def test_the_hours_of_one_day_count_as_one_day() -> None:
    assert taught(pairs(1)).high.bias_c == pytest.approx(2 / 21)


@given(some.lists(some.floats(-15, 15), min_size=1, max_size=60), some.floats(0.5, 4), some.floats(-1, 1))
def test_a_lesson_lies_between_the_default_and_what_was_seen(errors: list[float], sd: float, usual: float) -> None:
    side = place_bias.learn_side([place_bias.DayError(error, sd) for error in errors], usual)
    mean = sum(errors) / len(errors)
    assert min(usual, mean) - 1e-9 <= side.bias_c <= max(usual, mean) + 1e-9
    assert place_bias.LEAST_SHARE <= side.share <= place_bias.MOST_SHARE


@pytest.mark.parametrize(("lead", "bound"), [(-1, None), (0, 24), (23.9, 24), (24, 48), (119, 120), (384, None)])
def test_leads_are_learnt_in_ranges(lead: float, bound: int | None) -> None:
    assert place_bias.lead_bound_h(lead) == bound


@pytest.fixture
def place(db: None) -> Place:
    return steps.place_for("35.15", "-90.05", "America/Chicago", "Memphis")


def forecast(place: Place, issued_at: datetime, hours: list[float | None], **values: Any) -> Forecast:
    source = values.pop("source", Forecast.Source.FILE)
    return steps.keep_hours(place, source, issued_at, hours, issued_at=issued_at, received_at=issued_at)


def test_measured_hours_are_paired_with_every_forecast_of_them_but_none_made_after(place: Place) -> None:
    first, later = NOW.replace(minute=0) - 48 * HOUR, NOW.replace(minute=0) - 24 * HOUR
    forecast(place, first, [10.0] * 60)
    forecast(place, later, [11.0, None, 11.0])
    forecast(place, first, [0.0] * 60, source=Forecast.Source.RECORDED)
    new = error_pairs.keep_and_learn(place, later - HOUR, [8.0, 9.0, 9.0, None], "mine", NOW)
    assert new == 3
    kept = ErrorPair.objects.order_by("issued_at", "valid_at").values_list("forecast_c", "observed_c")
    assert list(kept) == [(10.0, 8.0), (10.0, 9.0), (10.0, 9.0), (11.0, 9.0)]
    assert error_pairs.keep_and_learn(place, later - HOUR, [8.0, 9.0, 9.0], "mine", NOW) == 0
    assert ErrorPair.objects.count() == 4


def test_what_was_learnt_moves_the_next_forecast_and_its_spread(place: Place) -> None:
    start = NOW.replace(hour=0, minute=0) - timedelta(days=40)
    for day in range(41):
        forecast(place, start + timedelta(days=day), [10.0] * 24)
    before = queries.hours_for(place, NOW, NOW + 3 * HOUR)
    assert before.c[1:3] == (10.0, 10.0)
    assert before.sd_share == ()
    hours = [10.0 + (9.0 if (hour // 24) % 2 else -5.0) for hour in range(40 * 24)]
    error_pairs.keep_and_learn(place, start, hours, "mine", NOW)
    after = queries.hours_for(place, NOW, NOW + 3 * HOUR)
    row = Learnt.objects.get(lead_until_h=24)
    assert row.days == 40
    assert row.high_bias_c == pytest.approx(2.0 * 40 / 60, abs=0.1)
    assert row.high_share == place_bias.MOST_SHARE
    share = float(high_share(after.times[1].astimezone(place.zone).hour))
    assert after.c[1] == pytest.approx(10.0 + share * row.high_bias_c + (1 - share) * row.low_bias_c)
    assert after.sd_share[1] == pytest.approx(share * row.high_share + (1 - share) * row.low_share)
    assert after.extra_sd_c == before.extra_sd_c


def test_a_lesson_ends_with_the_days_it_was_learnt_from(place: Place) -> None:
    start = NOW.replace(hour=0, minute=0) - timedelta(days=40)
    for day in range(41):
        forecast(place, start + timedelta(days=day), [10.0] * 24)
    error_pairs.keep_and_learn(place, start, [15.0] * 40 * 24, "mine", NOW)
    assert queries.hours_for(place, NOW, NOW + HOUR).c[0] > 11.0
    # The service was not asked all summer: half a year later its forecasts are used uncorrected.
    later = NOW.replace(minute=0) + timedelta(days=180)
    forecast(place, later, [10.0] * 24)
    assert queries.hours_for(place, later, later + HOUR).c == (10.0, 10.0)
    # Measured hours teach about the forecasts of that time.
    Forecast.objects.all().delete()
    forecast(place, later, [10.0] * 24, source=Forecast.Source.MET)
    error_pairs.keep_and_learn(place, later, [12.0] * 24, "mine", later + 24 * HOUR)
    assert set(Learnt.objects.values_list("source", flat=True)) == {Forecast.Source.MET}


def test_only_the_service_whose_usual_bias_is_known_is_corrected_before_learning(place: Place) -> None:
    for source, moved in ((Forecast.Source.NWS, True), (Forecast.Source.MET, False)):
        Forecast.objects.all().delete()
        forecast(place, NOW.replace(hour=0, minute=0), [10.0] * 48, source=source)
        hours = queries.hours_for(place, NOW.replace(hour=0), NOW.replace(hour=0) + 23 * HOUR)
        local = {at.astimezone(place.zone).hour: value for at, value in zip(hours.times, hours.c, strict=True)}
        assert (local[14] > 10.4) == moved
        assert (local[4] < 9.6) == moved


def test_a_sensor_fault_teaches_nothing(place: Place) -> None:
    error_pairs.keep_observed(place, NOW.replace(minute=0), [14.0, -10.5, 14.1], "mine")
    assert list(Observation.objects.values_list("observed_c", flat=True)) == [14.0, 14.1]


def test_a_file_of_measured_hours_is_no_forecast(place: Place, keeper_client: Client) -> None:
    with time_machine.travel(NOW, tick=False):
        forecast(place, NOW.replace(minute=0) - 5 * HOUR, [10.0] * 5)
        rows = [f"{NOW.replace(minute=0) - ago * HOUR:%Y-%m-%dT%H:%MZ},{8.0}" for ago in (4, 3, 2)]
        url = reverse("weather:upload", args=[place.pk])

        def send(lines: list[str]) -> Any:
            file = SimpleUploadedFile("hours.csv", "\n".join(["time,temp_c", *lines]).encode())
            return keeper_client.post(url, {"zone": "UTC", "unit": "", "measured": "on", "file": file}, follow=True)

        page = send(rows).content.decode()
        assert "3 measured hours are new for Memphis" in page
        assert "How far forecasts were off here" in page
        assert Forecast.objects.count() == 1
        late = send([*rows, f"{NOW + 5 * HOUR:%Y-%m-%dT%H:%MZ},8.0"])
        assert late.status_code == 422
        assert "still to come" in late.content.decode()


STATIONS = UsStations(NwsService("keeper@example.org"))


def stations(*rows: tuple[str, float, float]) -> dict[str, Any]:
    return {"features": [
        {"geometry": {"type": "Point", "coordinates": [longitude, latitude]}, "properties": {"stationIdentifier": name}}
        for name, latitude, longitude in rows
    ]}  # fmt: skip


def report(at: str, value: Any, mark: str = "V", unit: str = "wmoUnit:degC") -> dict[str, Any]:
    temperature = {"unitCode": unit, "value": value, "qualityControl": mark}
    return {"properties": {"timestamp": at, "temperature": temperature}}


def observations(*rows: dict[str, Any]) -> dict[str, Any]:
    given = rows or (
        report("2026-03-07T07:53:00+00:00", 9.0), report("2026-03-07T06:53:00+00:00", 8.0),
        report("2026-03-07T08:53:00+00:00", 99.0, "X"), report("2026-03-07T09:53:00+00:00", None, "Z"),
    )  # fmt: skip
    return {"features": list(given)}


NEAR = stations(("KFAR", 36.5, -90.0), ("KMEM", 35.06, -89.99), ("KNQA", 35.35, -89.87))


def read(document: Any, near: Any = NEAR) -> StationReports:
    given = (answer(shapes.point(), "point"), answer(near, "stations"), answer(document, "observations"))
    return STATIONS.parse(given, HERE, NOW)


def test_the_nearest_station_is_asked_for_the_last_days() -> None:
    point = answer(shapes.point(), "point")
    (first,) = STATIONS.build_requests(HERE, NOW, NOW)
    (second,) = STATIONS.build_requests(HERE, NOW, NOW, (point,))
    (third,) = STATIONS.build_requests(HERE, NOW - 72 * HOUR, NOW, (point, answer(NEAR, "stations")))
    assert (first.endpoint, second.url) == ("point", "https://api.weather.gov/gridpoints/MEG/0,31/stations")
    assert third.url == (
        "https://api.weather.gov/stations/KMEM/observations?start=2026-03-04T10:20:00Z&end=2026-03-07T10:20:00Z&limit=500"
    )


def test_rejected_reports_are_missing() -> None:
    observed = read(observations())
    assert (observed.station, round(observed.km)) == ("KMEM", 11)
    assert [value for _, value in observed.readings] == [8.0, 9.0, None, None]


@pytest.mark.parametrize(
    ("document", "near", "expected"),
    [
        (observations(), stations(("KFAR", 36.5, -90.0)), NotCovered),
        (observations(), stations(), NotCovered),
        (observations(), stations(("../x", 35.15, -90.05)), NotCovered),
        (observations(report("2026-03-07T07:53:00Z", 50.0, unit="wmoUnit:degF")), NEAR, BadResponse),
        (observations(report("2026-03-07T12:53:00Z", 5.0)), NEAR, BadResponse),
        ({"features": []}, NEAR, BadResponse),
        ({}, NEAR, BadResponse),
    ],
)
def test_what_is_far_or_no_report_teaches_nothing(document: Any, near: Any, expected: type[ServiceTrouble]) -> None:
    with pytest.raises(expected):
        read(document, near)


@pytest.mark.parametrize("path", shapes.part_paths(observations()), ids=str)
def test_with_any_part_missing_no_report_changes(path: tuple[Any, ...]) -> None:
    whole = dict(read(observations()).readings)
    try:
        observed = read(shapes.without(observations(), path))
    except ServiceTrouble:
        return
    assert all(value in (None, whole[at]) for at, value in observed.readings)


@pytest.mark.django_db
def test_hours_that_a_station_measured_are_fetched_with_the_forecast_twice_a_day(place: Place) -> None:
    clock = Clock()
    forecast(place, datetime(2026, 3, 7, 0, tzinfo=UTC), [10.0] * 12)
    ways = {
        "/gridpoints/MEG/0,31/stations": says(NEAR, kind=GEO),
        "/stations/KMEM/observations": says(observations(), kind=GEO),
    }
    with time_machine.travel(NOW, tick=False), rogue.rogue(by_path(ways | US | ways)) as server:
        choose(server, "nws")
        server.behaviours[:] = [by_path(ways | {path: US[path] for path in ("/points/", "/gridpoints/")})]
        assert bring(clock, place).troubles == []
        asked = [path.partition("?")[0] for path, _ in server.asked]
        clock.now += HOUR
        bring(clock, place)
    assert asked == [
        "/points/35.15,-90.05", "/gridpoints/MEG/0,31", "/gridpoints/MEG/0,31/stations", "/stations/KMEM/observations",
    ]  # fmt: skip
    assert [path for path, _ in server.asked[4:]] == ["/gridpoints/MEG/0,31"]
    (hour,) = Observation.objects.all()
    assert (hour.at, hour.observed_c) == (datetime(2026, 3, 7, 7, tzinfo=UTC), pytest.approx(8.12, abs=0.01))
    assert ErrorPair.objects.get().observed_c == hour.observed_c


@pytest.mark.django_db
def test_a_station_that_fails_spoils_nothing_and_is_left_alone_for_half_a_day(place: Place) -> None:
    clock = Clock()
    ways = {"/gridpoints/MEG/0,31/stations": says(b"<html>", kind="text/html")} | US
    with time_machine.travel(NOW, tick=False), rogue.rogue(by_path(US)) as server:
        choose(server, "nws")
        server.behaviours[:] = [by_path({"/gridpoints/MEG/0,31/stations": ways["/gridpoints/MEG/0,31/stations"]} | {
            path: US[path] for path in ("/points/", "/gridpoints/")})]  # fmt: skip
        for _ in range(3):
            assert bring(clock, place).troubles == []
            clock.now += HOUR
    assert sum("stations" in path for path, _ in server.asked) == 1
    (asking,) = queries.service_states(place, household(), NOW)
    assert asking is not None
    assert asking.trouble == ""
