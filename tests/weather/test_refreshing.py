"""Fresh hours come from a local server: politeness, faults and one run at a time."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any

import pytest
import time_machine
from django.db import transaction
from django.test import Client
from django.urls import reverse

from breeder.base.models import Setting
from breeder.base.queries import household
from breeder.core.thermal.forecast_error import usual_bias_c
from breeder.management import forecasting
from breeder.weather import host_backoff, leases, queries, refresh, service_registry, steps
from breeder.weather.fetcher import Fetcher, Patience
from breeder.weather.models import Fetch, Forecast, Host, Lease, Place
from breeder.weather.services.met import MetService
from tests.weather import rogue
from tests.weather.rogue import Rogue, says
from tests.weather.services import shapes

pytestmark = pytest.mark.django_db

NOW = shapes.NOW
GEO = "application/geo+json"
EXPIRES = {"Expires": "Sat, 07 Mar 2026 10:57:00 GMT", "Date": "Sat, 07 Mar 2026 10:20:00 GMT"}
FORMER = "Sat, 07 Mar 2026 05:37:54 GMT"


class Clock:
    """The time of a test; sleeping moves it."""

    def __init__(self) -> None:
        self.now = NOW
        self.slept = 0.0

    def __call__(self) -> datetime:
        return self.now

    def sleep(self, seconds: float) -> None:
        self.slept += seconds
        self.now += timedelta(seconds=seconds)


@pytest.fixture
def clock() -> Iterator[Clock]:
    with time_machine.travel(NOW, tick=False):
        yield Clock()


@pytest.fixture
def place(db: None) -> Place:
    return steps.place_for("35.15", "-90.05", "America/Chicago", "Memphis")


def choose(server: Rogue, service: str = "met", **more: Any) -> None:
    setting = household()
    for name, value in {"weather_service": service, "weather_contact": "keeper@example.org",
                        "weather_url": server.home, **more}.items():  # fmt: skip
        setattr(setting, name, value)
    setting.save()


def bring(clock: Clock, *places: Place) -> refresh.RefreshReport:
    def make(service: Any, own_home: str) -> Fetcher:
        made = service_registry.fetcher_for(service, own_home)
        made.clock, made.sleep, made.dice = clock, clock.sleep, Random(3)
        # In real seconds, since a dripping server is real; a healthy local one answers in hundredths of a second.
        made.patience = Patience(0.3, 0.3, 3.0, before_retry_s=(0.0, 0.0))
        return made

    return refresh.refresh(lambda: places, make=make)


def by_path(paths: dict[str, Any]) -> Callable[[rogue.Caller], None]:
    return lambda caller: next(behave for path, behave in paths.items() if caller.path.startswith(path))(caller)


GONE = says({"type": "urn:x:NotFound"}, 404, "application/problem+json")
US = {
    "/points/": says(shapes.point(), kind=GEO), "/gridpoints/MEG/0,31/stations": GONE,
    "/gridpoints/": says(shapes.grid(), kind=GEO),
}  # fmt: skip


def forecast_paths(server: Rogue) -> list[str]:
    return [path for path, _ in server.asked if "stations" not in path]


def test_nothing_is_asked_until_a_service_is_chosen(clock: Clock, place: Place, nowhere_else: list[Any]) -> None:
    report = bring(clock, place)
    assert "No weather service is chosen" in report.sentence
    assert nowhere_else == []


def test_hours_of_the_us_service_are_kept_with_all_that_tells_how_far_to_trust_them(clock: Clock, place: Place) -> None:
    with rogue.rogue(by_path(US)) as server:
        choose(server, "nws")
        report = bring(clock, place)
    assert (report.brought, report.troubles) == (1, [])
    assert forecast_paths(server) == ["/points/35.15,-90.05", "/gridpoints/MEG/0,31"]
    assert all(headers["accept"] == "application/geo+json" for _, headers in server.asked)
    forecast = Forecast.objects.get()
    assert (forecast.source, forecast.issued_at) == ("nws", datetime(2026, 3, 7, 9, 12, tzinfo=UTC))
    assert (len(forecast.hours_c), forecast.quality) == (34, "1" * 34)
    assert forecast.provenance["model"] == "grid MEG 0 31"
    assert clock.slept >= 1.0  # a second between two requests
    hours = queries.hours_for(place, NOW, NOW + timedelta(hours=5))
    usual = [float(usual_bias_c(at.astimezone(hours.zone).hour)) for at in hours.times]
    assert hours.c == pytest.approx([9.4 + bias for bias in usual])
    assert hours.credits == (forecast.credit,)


def test_the_point_is_kept_for_a_month_and_the_grid_for_a_quarter_of_an_hour(clock: Clock, place: Place) -> None:
    with rogue.rogue(by_path(US)) as server:
        choose(server, "nws")
        bring(clock, place)
        clock.now += timedelta(minutes=5)
        assert bring(clock, place).still_good == 1
        assert len(forecast_paths(server)) == 2
        clock.now += timedelta(minutes=20)
        bring(clock, place)
        assert forecast_paths(server)[2:] == ["/gridpoints/MEG/0,31"]
        clock.now += timedelta(days=34)
        bring(clock, place)
        assert forecast_paths(server)[3].startswith("/points/")


def test_a_point_whose_grid_is_gone_is_asked_anew(clock: Clock, place: Place) -> None:
    moved = shapes.point(forecastGridData="https://api.weather.gov/gridpoints/LZK/5,6")
    with rogue.rogue(by_path(US)) as server:
        choose(server, "nws")
        bring(clock, place)
        server.behaviours[:] = [by_path({
            "/points/": says(moved, kind=GEO), "/gridpoints/MEG": GONE, "/gridpoints/LZK": US["/gridpoints/"],
        })]  # fmt: skip
        clock.now += timedelta(hours=1)
        report = bring(clock, place)
    assert (report.brought, report.troubles) == (1, [])
    assert forecast_paths(server)[2:] == [
        "/gridpoints/MEG/0,31", "/points/35.15,-90.05", "/gridpoints/LZK/5,6",
    ]  # fmt: skip


def test_until_it_expires_nothing_is_asked_and_then_only_for_news(clock: Clock, place: Place) -> None:
    with rogue.rogue(says(shapes.series(), Last_Modified=FORMER, **EXPIRES), says(b"", 304, **EXPIRES)) as server:
        choose(server)
        assert bring(clock, place).brought == 1
        clock.now = NOW + timedelta(minutes=36)
        assert bring(clock, place).still_good == 1
        assert len(server.asked) == 1
        clock.now = NOW + timedelta(minutes=45)
        assert bring(clock, place).still_good == 1
    assert [headers.get("if-modified-since") for _, headers in server.asked] == [None, FORMER]
    forecast = Forecast.objects.get()
    assert forecast.received_at == NOW + timedelta(minutes=45)
    assert forecast.issued_at == datetime(2026, 3, 7, 5, 37, 54, tzinfo=UTC)
    assert Fetch.objects.get().good_until > NOW + timedelta(minutes=75)


@pytest.mark.parametrize(
    ("last_modified", "later"),
    [("Mon, 28 Sep 2026 10:00:00 GMT", timedelta(hours=1)), ("yesterday", timedelta(hours=1)),
     (FORMER, timedelta(hours=8))],
)  # fmt: skip
def test_a_date_ahead_or_an_old_forecast_is_never_asked_only_for_news(
    clock: Clock, place: Place, last_modified: str, later: timedelta
) -> None:
    with rogue.rogue(says(shapes.series(), Last_Modified=last_modified)) as server:
        choose(server)
        bring(clock, place)
        clock.now += later
        bring(clock, place)
    assert [headers.get("if-modified-since") for _, headers in server.asked] == [None, None]


def test_five_failures_give_the_service_a_rest_of_a_quarter_of_an_hour(clock: Clock, place: Place) -> None:
    with rogue.rogue(says({}, 503)) as server:
        choose(server)
        for _ in range(5):
            assert "cannot answer just now" in bring(clock, place).sentence
        assert len(server.asked) == 15
        assert "is left alone until" in bring(clock, place).sentence
        assert len(server.asked) == 15
        clock.now += host_backoff.REST
        server.behaviours[:] = [says(shapes.series())]
        assert bring(clock, place).brought == 1
    assert Host.objects.get().failures == 0
    assert Fetch.objects.get().trouble == ""


def test_a_service_that_was_asked_too_often_is_left_alone_as_long_as_it_says(clock: Clock, place: Place) -> None:
    with rogue.rogue(says({}, 429, Retry_After="120")) as server:
        choose(server)
        bring(clock, place)
        clock.now += timedelta(seconds=110)
        assert "is left alone until" in bring(clock, place).sentence
        assert len(server.asked) == 1
        clock.now += timedelta(seconds=20)
        bring(clock, place)
        assert len(server.asked) == 2


def test_a_tail_of_nulls_ends_the_hours_and_is_never_carried_on(clock: Clock, place: Place) -> None:
    tail = [shapes.step(f"2026-03-07T{hour}:00:00Z", 9.0 if hour < 15 else None) for hour in range(10, 24)]
    with rogue.rogue(says(shapes.series(tail))) as server:
        choose(server)
        assert bring(clock, place).brought == 1
    hours = queries.hours_for(place, NOW, NOW + timedelta(hours=12))
    assert hours.c[:5] == (9.0,) * 5
    assert set(hours.c[5:]) == {None}


@pytest.mark.parametrize("reader", ["parse", "build_requests"])
def test_an_answer_that_breaks_its_reader_stays_with_its_place(
    reader: str, clock: Clock, place: Place, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    whole = getattr(MetService, reader)

    def breaks(self: MetService, *given: Any) -> Any:
        spot = next(spot_like for spot_like in given if hasattr(spot_like, "latitude"))
        return {}["an unexpected key"] if float(spot.latitude) > 40 else whole(self, *given)

    monkeypatch.setattr(MetService, reader, breaks)
    north = steps.place_for("45.15", "-90.05", "America/Chicago", "Rib Lake")
    with rogue.rogue(says(shapes.series())) as server:
        choose(server)
        report = bring(clock, north, place)
    assert report.brought == 1
    assert Forecast.objects.get().place == place
    assert "cannot be relied on (unforeseen: KeyError)" in report.sentence
    assert "an unexpected key" in caplog.text


def test_a_refusal_is_not_repeated_for_an_hour_unless_somebody_asks(clock: Clock, place: Place) -> None:
    with rogue.rogue(says(b"", 422)) as server:
        choose(server)
        bring(clock, place)
        clock.now += timedelta(minutes=30)
        bring(clock, place)
        assert len(server.asked) == 1
        Place.objects.update(wanted_at=clock.now)
        bring(clock)
        assert len(server.asked) == 2
    assert Place.objects.get().wanted_at is None


def test_open_meteo_is_asked_with_the_key_in_a_header_and_no_log_or_row_holds_it(
    clock: Clock, place: Place, caplog: pytest.LogCaptureFixture
) -> None:
    key = "k3y-of-the-keeper"
    with (
        caplog.at_level("DEBUG"),
        rogue.rogue(says(shapes.hourly()), says({"error": True, "reason": key}, 400)) as server,
    ):
        choose(server, "open-meteo", weather_key=key)
        bring(clock, place)
        clock.now += timedelta(hours=2)
        report = bring(clock, place)
    assert [headers["x-api-key"] for _, headers in server.asked] == [key, key]
    rows = [str(list(model.objects.values())) for model in (Fetch, Forecast, Host)]
    assert key not in " ".join([*rows, report.sentence, caplog.text, *(path for path, _ in server.asked)])
    assert Forecast.objects.get().issued_at == NOW - timedelta(hours=12)


def test_only_rounded_places_are_sent(clock: Clock, place: Place) -> None:
    with rogue.rogue(says(shapes.series())) as server:
        choose(server)
        bring(clock, place)
    ((path, headers),) = server.asked
    assert path == "/weatherapi/locationforecast/2.0/complete?lat=35.15&lon=-90.05"
    assert "Memphis" not in f"{path} {headers}"


def test_nothing_is_asked_inside_a_transaction(clock: Clock, place: Place) -> None:
    with rogue.rogue(says(shapes.series())) as server:
        choose(server)
        with transaction.atomic(), pytest.raises(RuntimeError, match="durable"):
            bring(clock, place)
    assert server.asked == []


def test_a_second_runner_does_nothing_and_a_dead_ones_lease_ends(clock: Clock, place: Place) -> None:
    with rogue.rogue(says(shapes.series())) as server:
        choose(server)
        leases.take(leases.REFRESHING, clock.now)
        assert bring(clock, place).was_running
        assert server.asked == []
        clock.now += leases.HELD_FOR
        assert bring(clock, place).brought == 1


def test_a_runner_that_lost_its_lease_stops(clock: Clock, place: Place) -> None:
    other = steps.place_for("40.22", "-74.76", "America/New_York", "Trenton")

    def steals(caller: rogue.Caller) -> None:
        says(shapes.series())(caller)

    with rogue.rogue(steals) as server:
        choose(server)

        def places() -> Iterator[Place]:
            yield place
            Lease.objects.update(holder="somebody else")
            yield other

        report = refresh.refresh(places, make=lambda service, home: made(service, home, clock))
    assert (report.brought, len(server.asked)) == (1, 1)
    assert Lease.objects.get().holder == "somebody else"


def made(service: Any, home: str, clock: Clock) -> Fetcher:
    made_fetcher = service_registry.fetcher_for(service, home)
    made_fetcher.clock, made_fetcher.sleep = clock, clock.sleep
    return made_fetcher


def test_coarse_and_unsure_hours_are_trusted_less(clock: Clock, place: Place) -> None:
    wide = shapes.series([
        shapes.step("2026-03-07T10:00:00Z", 8.0, air_temperature_percentile_10=0, air_temperature_percentile_90=16),
        shapes.step("2026-03-07T11:00:00Z", 8.0, air_temperature_percentile_10=7.9, air_temperature_percentile_90=8.1),
        shapes.step("2026-03-07T17:00:00Z", 8.0),
    ])  # fmt: skip
    with rogue.rogue(says(wide)) as server:
        choose(server)
        bring(clock, place)
    hours = queries.hours_for(place, datetime(2026, 3, 7, 10, tzinfo=UTC), datetime(2026, 3, 7, 17, tzinfo=UTC))
    assert hours.extra_sd_c[0] > 2.5
    assert hours.extra_sd_c[1] == 0.0
    assert hours.extra_sd_c[2:] == (1.0,) * 6
    assert hours.coarse == (False, False, *(True,) * 6)


def test_replaced_forecasts_are_thinned_and_old_ones_dropped(clock: Clock, place: Place) -> None:
    with rogue.rogue(by_path(US)) as server:
        choose(server, "nws")
        for hour in range(14):
            clock.now = NOW + timedelta(hours=hour)
            updated = (clock.now - timedelta(hours=1)).isoformat()
            server.behaviours[:] = [by_path(US | {"/gridpoints/": says(shapes.grid(updateTime=updated), kind=GEO)})]
            bring(clock, place)
        assert 3 <= Forecast.objects.count() <= 5
        clock.now += timedelta(days=15)
        bring(clock)
        assert Forecast.objects.count() == 0


def test_pages_start_the_bringing_and_do_not_wait_for_it(
    clock: Clock, place: Place, helper_client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    started: list[bool] = []
    monkeypatch.setattr(refresh, "bring_wanted_soon", lambda: started.append(True))
    url = reverse("weather:fresh", args=[place.pk])
    assert helper_client.get(url).headers["Location"] == reverse("weather:place", args=[place.pk])
    answer = helper_client.post(url, {"token": "a"}, follow=True)
    assert "No weather service is chosen yet" in answer.content.decode()
    assert started == []
    with rogue.rogue(says(shapes.series())) as server:
        choose(server)
        answer = helper_client.post(url, {"token": "b"}, follow=True)
        helper_client.post(url, {"token": "b"})
        assert server.asked == []
    assert "MET Norway is being asked" in answer.content.decode()
    assert started == [True]
    assert Place.objects.get().wanted_at == NOW


def settings_page(client: Client, **given: str) -> Any:
    page = client.get(reverse("base:settings"))
    values = {name: "" if value is None else value for name, value in page.context["form"].initial.items()}
    values = {name: value for name, value in values.items() if value is not False}
    return client.post(reverse("base:settings"), values | {"comfort_tolerance": "20", "hard_tolerance": "5"} | given)


def test_the_settings_ask_for_contact_and_key_and_never_show_the_key_again(keeper_client: Client) -> None:
    page = keeper_client.get(reverse("base:settings")).content.decode()
    assert "excludes anybody who sells" in page
    refused = settings_page(keeper_client, weather_service="met")
    assert refused.status_code == 422
    assert "Give a mail or web address" in refused.content.decode()
    assert settings_page(keeper_client, weather_service="met", weather_contact="no contact").status_code == 422
    assert settings_page(keeper_client, weather_service="open-meteo").status_code == 422
    plain = settings_page(keeper_client, weather_service="open-meteo", weather_url="http://weather.example")
    assert "must begin with https" in plain.content.decode()
    assert settings_page(keeper_client, weather_service="open-meteo", weather_key="k3y").status_code == 302
    assert settings_page(keeper_client, weather_contact="keeper@example.org").status_code == 302
    assert (household().weather_key, household().weather_service) == ("k3y", "open-meteo")
    assert "k3y" not in keeper_client.get(reverse("base:settings")).content.decode()
    settings_page(keeper_client, weather_key="forget", weather_service="")
    assert household().weather_key == ""
    assert Setting.objects.get().weather_service == ""


@pytest.mark.parametrize("minute", range(0, 60, 3))
def test_no_run_falls_on_the_full_hour(minute: int) -> None:
    dice = Random(minute)
    for second in (0, 30, 59):
        now = NOW.replace(minute=minute, second=second)
        for at in (
            now + timedelta(seconds=refresh.seconds_off_the_hour(now, dice)),
            now + timedelta(seconds=forecasting.next_wait_s(now, dice)),
        ):
            assert 120 <= at.minute * 60 + at.second < 3540
            assert at - now < timedelta(minutes=75)
