"""Open-Meteo: asked only with a key or at the keeper's server; a good status is not yet a good answer."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from breeder.weather import hour_grid
from breeder.weather.services.errors import BadResponse, NeedsKey, NotCovered, RateLimited, ServiceTrouble, Unavailable
from breeder.weather.services.open_meteo import OpenMeteoService
from breeder.weather.services.types import FetchedForecast
from tests.weather.services import shapes
from tests.weather.services.shapes import END, HERE, NOW, answer, hourly

KEY = "k3y-of-the-keeper"
SERVICE = OpenMeteoService(KEY)


def read(document: Any, **more: Any) -> FetchedForecast:
    return SERVICE.parse((answer(document, **more),), HERE, NOW)


def test_nothing_is_asked_without_key_and_own_server() -> None:
    with pytest.raises(NeedsKey, match="those who sell nothing"):
        OpenMeteoService().build_requests(HERE, NOW, END)
    (ask,) = OpenMeteoService(home="http://127.0.0.1:8080").build_requests(HERE, NOW, END)
    assert ask.url.startswith("http://127.0.0.1:8080/v1/forecast?latitude=35.15&longitude=-90.05&")
    assert ask.secret == {}


def test_gmt_is_asked_for_and_the_key_stays_out_of_address_and_repr() -> None:
    (ask,) = SERVICE.build_requests(HERE, NOW, END)
    assert "timezone=GMT" in ask.url
    assert "forecast_days=11" in ask.url
    assert ask.secret == {"X-Api-Key": KEY}
    assert KEY not in ask.url + repr(ask) + repr(SERVICE)


def test_hours_are_read_and_nulls_stay_missing() -> None:
    forecast = read(hourly())
    assert forecast.hours.starts_at == datetime(2026, 3, 7, tzinfo=UTC)
    assert forecast.hours.c == (11.4, 10.9, None, 8.0, 0.0)
    assert forecast.hours.quality == "11-11"
    assert (forecast.issued_at, forecast.issued_is_estimate) == (NOW - timedelta(hours=12), True)


def test_a_tail_of_nulls_is_no_forecast() -> None:
    assert len(read(hourly([1.0, 2.0, None, None, None])).hours.c) == 2
    with pytest.raises(BadResponse, match="empty"):
        read(hourly([None] * 48))


def test_one_answer_in_a_list_and_one_series_with_a_models_name_are_read() -> None:
    assert read([hourly()]).hours == read(hourly()).hours
    document = hourly()
    named = {"time": document["hourly"]["time"], "temperature_2m_gfs_seamless": document["hourly"]["temperature_2m"]}
    units = {"time": "iso8601", "temperature_2m_gfs_seamless": "°C"}
    assert read(document | {"hourly": named, "hourly_units": units}).hours == read(hourly()).hours
    two = named | {"temperature_2m_icon_seamless": document["hourly"]["temperature_2m"]}
    with pytest.raises(BadResponse, match="missing part"):
        read(document | {"hourly": two})


def test_a_spread_is_taken_as_given_or_over_enough_members() -> None:
    document = hourly([1.0, 1.0, 1.0])
    hours, units = document["hourly"], document["hourly_units"]
    given = document | {
        "hourly": hours | {"temperature_2m_spread": [0.5, None, -1]},
        "hourly_units": units | {"temperature_2m_spread": "K"},
    }
    assert read(given).hours.spread_c == (0.5, None, None)
    members = {f"temperature_2m_member{number:02}": [1.0 + number, None, 3.0] for number in range(1, 11)}
    spread_c = read(document | {"hourly": hours | members}).hours.spread_c
    assert spread_c[0] == pytest.approx(3.3166, abs=1e-4)  # 1 to 11: the root of 11
    assert spread_c[1] is None
    few = {name: values for name, values in members.items() if name < "temperature_2m_member09"}
    assert read(document | {"hourly": hours | few}).hours.spread_c == ()
    with pytest.raises(BadResponse, match="shape"):
        read(document | {"hourly": hours | {"temperature_2m_member01": []}})


def far(latitude: float, longitude: float) -> dict[str, Any]:
    return hourly(latitude=latitude, longitude=longitude)


@pytest.mark.parametrize(
    ("document", "kind"),
    [
        (far(37.85, -90.05), "far away"),
        (far(0.0, 0.0), "far away"),
        (hourly(utc_offset_seconds=-21600), "clock"),
        (hourly(hourly_units={"temperature_2m": "°F"}), "unit"),
        (hourly(hourly={"time": ["2026-03-07T00:00"], "temperature_2m": [1.0, 2.0]}), "shape"),
        (hourly(hourly={"time": ["2026-03-07T00:00", "2026-03-07T00:00"], "temperature_2m": [1.0, 2.0]}), "times"),
        (hourly(hourly={"time": ["2026-03-07T00:30"], "temperature_2m": [1.0]}), "times"),
        (hourly(hourly={"time": ["2026-03-07T00:00-06:00"], "temperature_2m": [1.0]}), "times"),
        (hourly(hourly={"time": [5], "temperature_2m": [1.0]}), "times"),
        ([hourly(), hourly()], "shape"),
        (b'{"latitude":35.1,"longitude":-90.0,"hourly":{"temperature_2m":[1.0,nan]}}', "broken"),
        (b'{"latitude":35.1,"longitude":-90.0,"hourly":{"temperature_2m":[1.0,NaN]}}', "broken"),
        (b'{"latitude":35.1,"hourly":{"temperature_2m":[1.0,{"error":true,"reason":"Unexpected error', "broken"),
    ],
)
def test_a_good_status_with_a_bad_answer_is_refused(document: Any, kind: str) -> None:
    with pytest.raises(BadResponse) as refused:
        read(document)
    assert refused.value.kind == kind


def test_a_cell_next_door_is_taken() -> None:
    assert read(far(35.25, -90.3)).hours.c[0] == 11.4


@pytest.mark.parametrize("path", shapes.part_paths(hourly()), ids=str)
def test_with_any_part_missing_the_hours_are_right_or_refused(path: tuple[Any, ...]) -> None:
    whole = read(hourly())
    try:
        forecast = read(shapes.without(hourly(), path))
    except ServiceTrouble:
        return
    true = {whole.hours.starts_at + hour * hour_grid.HOUR: value for hour, value in enumerate(whole.hours.c)}
    for hour, value in enumerate(forecast.hours.c):
        assert value in (None, true[forecast.hours.starts_at + hour * hour_grid.HOUR])


def error(reason: str) -> dict[str, Any]:
    return {"error": True, "reason": reason}


@pytest.mark.parametrize(
    ("status", "reason", "expected"),
    [
        (400, "Parameter 'start_date' is out of allowed range", BadResponse),
        (400, f"The supplied API key {KEY} is invalid", NeedsKey),
        (401, "API key missing", NeedsKey),
        (403, "This requires the API Professional or Enterprise plan", NeedsKey),
        (400, "No data is available for this location", NotCovered),
        (500, "Something went wrong.", Unavailable),
        (503, "The service is overloaded", Unavailable),
        (200, "Something went wrong.", BadResponse),
    ],
)
def test_errors_are_told_apart_and_never_hold_a_key(status: int, reason: str, expected: type[ServiceTrouble]) -> None:
    with pytest.raises(expected) as trouble:
        read(error(reason), status=status)
    assert KEY not in f"{trouble.value!r} {trouble.value.sentence} {trouble.value.detail}"


@pytest.mark.parametrize(
    ("word", "until"),
    [
        ("Minutely API request limit exceeded.", datetime(2026, 3, 7, 10, 21, tzinfo=UTC)),
        ("Hourly API request limit exceeded.", datetime(2026, 3, 7, 11, tzinfo=UTC)),
        ("Daily API request limit exceeded.", datetime(2026, 3, 8, tzinfo=UTC)),
        ("Too many concurrent requests", datetime(2026, 3, 7, 10, 21, tzinfo=UTC)),
    ],
)
def test_the_counter_that_ran_full_says_when_to_come_back(word: str, until: datetime) -> None:
    with pytest.raises(RateLimited) as limited:
        read(error(word), status=429)
    assert limited.value.until == until
