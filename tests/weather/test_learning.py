"""What was measured teaches a bias and a spread, little at first; nothing learnt makes a forecast surer than usual."""

from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as some

from breeder.heat.members import sigma_c
from breeder.house.queries import household
from breeder.weather import learning, queries, remembering, steps
from breeder.weather.learning import Pair, lesson
from breeder.weather.models import ErrorPair, Forecast, Learnt, Observation, Place
from breeder.weather.services.nws import UsService
from breeder.weather.services.troubles import BadResponse, NotCovered, Trouble
from breeder.weather.services.us_stations import Observed, UsStations
from tests.weather import rogue
from tests.weather.rogue import says
from tests.weather.services import shapes
from tests.weather.services.shapes import HERE, NOW, answer
from tests.weather.test_refreshing import GEO, US, Clock, bring, by_path, choose

HOUR = timedelta(hours=1)


def pairs(days: int, error_c: float = 2.0, hours: int = 24, forecast_c: float = 10.0) -> list[Pair]:
    return [
        Pair(NOW + day * 24 * HOUR, NOW + (day * 24 + hour) * HOUR, forecast_c, forecast_c + error_c)
        for day in range(days)
        for hour in range(1, hours + 1)
    ]


def test_without_pairs_the_defaults_stand() -> None:
    assert lesson([], 1.7) == learning.Lesson(0, 0.0, 1.7)


@pytest.mark.parametrize(("days", "bias"), [(1, 2 / 21), (20, 1.0), (180, 1.8)])
def test_a_bias_is_drawn_to_nothing_by_twenty_days_weight(days: int, bias: float) -> None:
    found = lesson(pairs(days, hours=12), 1.7)
    assert found.days in (days, days + 1)  # twelve hours may reach into the next day
    assert lesson(pairs(days, hours=1), 1.7).bias_c == pytest.approx(bias)


def test_a_spread_is_drawn_to_the_usual_one_by_thirty_days_weight() -> None:
    dice = Random(4)
    some_pairs = [Pair(NOW, NOW + day * 24 * HOUR, 0.0, dice.choice((-3.0, 3.0))) for day in range(30)]
    left = lesson(some_pairs, 1.0).sd_c
    assert left == pytest.approx((3.0 + 1.0) / 2, abs=0.1)


def test_the_hours_of_one_day_count_as_one_day() -> None:
    one_day = [Pair(NOW, NOW.replace(hour=0) + hour * HOUR, 10, 12) for hour in range(24)]
    assert lesson(one_day, 1.7).bias_c == pytest.approx(2 / 21)


@given(some.lists(some.floats(-15, 15), min_size=1, max_size=60), some.floats(0.5, 4))
def test_a_lesson_lies_between_the_default_and_what_was_seen(errors: list[float], usual: float) -> None:
    found = lesson([Pair(NOW, NOW + day * 24 * HOUR, 0, error) for day, error in enumerate(errors)], usual)
    mean = sum(errors) / len(errors)
    assert min(0, mean) - 1e-9 <= found.bias_c <= max(0, mean) + 1e-9
    assert 0 < found.sd_c <= max(usual, *(abs(error) + abs(found.bias_c) for error in errors)) + 1e-9


@pytest.mark.parametrize(("lead", "bound"), [(-1, None), (0, 24), (23.9, 24), (24, 48), (119, 120), (384, None)])
def test_leads_are_learnt_in_ranges(lead: float, bound: int | None) -> None:
    assert learning.bound_of(lead) == bound


@pytest.fixture
def place(db: None) -> Place:
    return steps.place_for("35.15", "-90.05", "America/Chicago", "Memphis")


def forecast(place: Place, issued_at: datetime, hours: list[float | None], **values: Any) -> Forecast:
    source = values.pop("source", Forecast.Source.FILE)
    return steps.keep_hours(place, source, issued_at, hours, issued_at=issued_at, received_at=issued_at)


def test_measured_hours_are_put_beside_every_forecast_of_them_but_none_made_after(place: Place) -> None:
    first, later = NOW.replace(minute=0) - 48 * HOUR, NOW.replace(minute=0) - 24 * HOUR
    forecast(place, first, [10.0] * 60)
    forecast(place, later, [11.0, None, 11.0])
    forecast(place, first, [0.0] * 60, source=Forecast.Source.RECORDED)
    new = remembering.remember(place, later - HOUR, [8.0, 9.0, 9.0, None], "mine", NOW)
    assert new == 3
    found = ErrorPair.objects.order_by("issued_at", "valid_at").values_list("forecast_c", "observed_c")
    assert list(found) == [(10.0, 8.0), (10.0, 9.0), (10.0, 9.0), (11.0, 9.0)]
    assert remembering.remember(place, later - HOUR, [8.0, 9.0, 9.0], "mine", NOW) == 0
    assert ErrorPair.objects.count() == 4


def test_what_was_learnt_moves_the_next_forecast_and_only_widens_it(place: Place) -> None:
    start = NOW.replace(hour=0, minute=0) - timedelta(days=40)
    for day in range(41):
        forecast(place, start + timedelta(days=day), [10.0] * 24)
    before = queries.hours_for(place, NOW, NOW + 3 * HOUR)
    assert before.c[1:3] == (10.0, 10.0)
    hours = [10.0 + (9.0 if (hour // 24) % 2 else -5.0) for hour in range(40 * 24)]
    remembering.remember(place, start, hours, "mine", NOW)
    after = queries.hours_for(place, NOW, NOW + 3 * HOUR)
    row = Learnt.objects.get(lead_until_h=24)
    assert (row.days, row.bias_c) == (40, pytest.approx(2.0 * 40 / 60, abs=0.01))
    assert after.c[1] == pytest.approx(10.0 + row.bias_c)
    usual = float(sigma_c(10.0 / 24))
    assert after.extra_sd_c[1] == pytest.approx((row.sd_c**2 - usual**2) ** 0.5, abs=0.1)
    assert before.extra_sd_c[1] == 0.0
    Learnt.objects.update(sd_c=0.1)
    assert queries.hours_for(place, NOW, NOW + 3 * HOUR).extra_sd_c[1] == 0.0


def test_a_sensor_fault_teaches_nothing(place: Place) -> None:
    remembering.keep_observed(place, NOW.replace(minute=0), [14.0, -10.5, 14.1], "mine")
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


STATIONS = UsStations(UsService("keeper@example.org"))


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


def read(document: Any, near: Any = NEAR) -> Observed:
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
    found = read(observations())
    assert (found.station, round(found.km)) == ("KMEM", 11)
    assert [value for _, value in found.readings] == [8.0, 9.0, None, None]


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
def test_what_is_far_or_no_report_teaches_nothing(document: Any, near: Any, expected: type[Trouble]) -> None:
    with pytest.raises(expected):
        read(document, near)


@pytest.mark.parametrize("path", shapes.paths_of(observations()), ids=str)
def test_with_any_part_missing_no_report_changes(path: tuple[Any, ...]) -> None:
    whole = dict(read(observations()).readings)
    try:
        found = read(shapes.without(observations(), path))
    except Trouble:
        return
    assert all(value in (None, whole[at]) for at, value in found.readings)


@pytest.mark.django_db
def test_hours_that_a_station_measured_are_brought_beside_the_forecast_twice_a_day(place: Place) -> None:
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
    asking = queries.asking_of(place, household(), NOW)
    assert asking is not None
    assert asking.trouble == ""
