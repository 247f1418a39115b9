"""A second service stands in if the first fails, and says so; both get the same rounded places."""

from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from breeder.base.queries import household
from breeder.shipments.actions import departure
from breeder.weather import host_backoff, queries, service_registry
from breeder.weather.models import Forecast, Place
from tests.shipments import boxes
from tests.weather import rogue
from tests.weather.rogue import says
from tests.weather.services import shapes
from tests.weather.test_refreshing import NOW, US, Clock, bring, by_path, choose, clock, place, settings_page

__all__ = ["clock", "place"]
pytestmark = pytest.mark.django_db

NORWAY = {"/weatherapi/": says(shapes.series())}
DOWN = says(b"", 503)
GRID_GONE = says({"type": "urn:noaa:nws:api:InvalidPoint"}, 404, "application/problem+json")


@pytest.fixture
def _second(db: None) -> None:
    setting = household()
    setting.weather_second = "met"
    setting.save()


@pytest.mark.usefixtures("_second")
def test_both_are_asked_and_both_sets_of_hours_are_kept(clock: Clock, place: Place) -> None:
    with rogue.rogue(by_path(US | NORWAY)) as server:
        choose(server, "nws")
        report = bring(clock, place)
    assert (report.brought, report.troubles) == (1, [])
    assert set(Forecast.objects.values_list("source", flat=True)) == {"nws", "met"}
    assert sum(path.startswith("/weatherapi/") for path, _ in server.asked) == 1
    assert [asking.stands_in for asking in queries.service_states(place, household(), NOW)] == ["", ""]


@pytest.mark.parametrize(
    "fault",
    [DOWN, GRID_GONE, says(b"<html>", kind="text/html"), says(b'{"properties": NaN}'), rogue.short],
    ids=["down", "no such grid", "no JSON", "no number", "cut off"],
)
@pytest.mark.usefixtures("_second")
def test_where_the_first_fails_the_second_stands_in_and_says_so(clock: Clock, place: Place, fault: Any) -> None:
    with rogue.rogue(by_path({"/points/": fault} | NORWAY)) as server:
        choose(server, "nws")
        report = bring(clock, place)
    assert report.brought == 1
    assert report.troubles[-1] == "MET Norway stands in for US National Weather Service at Memphis."
    assert len(report.troubles) == 2
    first, second = queries.service_states(place, household(), NOW)
    assert first.trouble
    assert (second.trouble, second.stands_in) == ("", "US National Weather Service")
    hours = queries.hours_for(place, NOW, NOW + timedelta(hours=12))
    assert hours.sources == ("MET Norway",)


@pytest.mark.usefixtures("_second")
def test_the_page_of_the_place_says_who_stands_in(clock: Clock, place: Place, keeper_client: Client) -> None:
    with rogue.rogue(by_path({"/points/": GRID_GONE} | NORWAY)) as server:
        choose(server, "nws")
        bring(clock, place)
        page = keeper_client.get(reverse("weather:place", args=[place.pk])).content.decode()
    assert "It stands in for US National Weather Service." in page
    assert "covers the United States" in page


@pytest.mark.usefixtures("_second")
def test_when_both_fail_each_says_why_and_neither_stands_in(clock: Clock, place: Place) -> None:
    with rogue.rogue(by_path({"/points/": GRID_GONE, "/weatherapi/": says(b"", 403)})) as server:
        choose(server, "nws")
        report = bring(clock, place)
    assert (report.brought, len(report.troubles)) == (0, 2)
    assert not queries.stand_in_texts(place, household(), NOW)


@pytest.mark.usefixtures("_second")
def test_the_rest_of_a_failing_first_does_not_hold_up_the_second(
    clock: Clock, place: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On separate hosts; a relay of the keeper's is a single host and rests as one."""
    with rogue.rogue(DOWN) as first, rogue.rogue(by_path(NORWAY)) as second:
        choose(first, "nws")
        by_service = {"nws": first.home, "met": second.home}
        plain = service_registry.chosen_services

        def apart(setting: Any) -> tuple[service_registry.ChosenService, ...]:
            services = []
            for chosen in plain(setting):
                setting.weather_url = by_service[chosen.service.key]
                services += [other for other in plain(setting) if other.service.key == chosen.service.key]
            return tuple(services)

        monkeypatch.setattr(service_registry, "chosen_services", apart)
        for _ in range(host_backoff.FAILURES_BEFORE_REST):
            bring(clock, place)
        asked = len(first.asked)
        report = bring(clock, place)
        assert len(first.asked) == asked
    assert "is left alone until" in report.troubles[0]
    assert report.troubles[-1].startswith("MET Norway stands in")


def test_a_check_says_that_another_stood_in(keeper_client: Client) -> None:
    boxes.household(weather_service="nws", weather_second="met", weather_contact="keeper@example.org")
    boxes.bare()
    monday = shapes.NOW.date() + timedelta(days=2)
    number = boxes.parcel(monday).number
    home, _ = boxes.places()
    anywhere = {"/weatherapi/": says(shapes.series() | {"geometry": None})}
    with time_machine.travel(NOW, tick=False), rogue.rogue(by_path({"/points/": GRID_GONE} | anywhere)) as server:
        choose(server, "nws")
        bring(Clock(), home)
        check = departure.check_parcel(number, by=None)
    assert "Home: US National Weather Service did not give its hours; MET Norway stands in." in check.reason


def test_a_second_without_a_first_and_the_same_twice_are_refused(keeper_client: Client) -> None:
    alone = settings_page(keeper_client, weather_second="met", weather_contact="keeper@example.org")
    assert "Choose the first weather service before a second one" in alone.content.decode()
    twice = settings_page(
        keeper_client, weather_service="met", weather_second="met", weather_contact="keeper@example.org"
    )
    assert "This is the first service already" in twice.content.decode()
    without_contact = settings_page(
        keeper_client, weather_service="open-meteo", weather_key="k3y", weather_second="nws", weather_contact=""
    )
    assert "whom to write to" in without_contact.content.decode()
    good = {"weather_service": "nws", "weather_second": "met", "weather_contact": "keeper@example.org"}
    assert settings_page(keeper_client, **good).status_code == 302
    assert [chosen.service.key for chosen in service_registry.chosen_services(household())] == ["nws", "met"]


def test_an_open_meteo_server_of_the_keepers_is_not_asked_for_the_others_hours(db: None) -> None:
    setting = household()
    setting.weather_service, setting.weather_url = "open-meteo", "http://192.168.1.20:8080"
    setting.weather_second = "met"
    first, second = service_registry.chosen_services(setting)
    assert (first.own_home, second.own_home) == ("http://192.168.1.20:8080", "")
    setting.weather_service = ""
    assert service_registry.chosen_services(setting) == ()
