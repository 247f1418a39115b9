"""What leaves the house on a packing day: rounded places to the chosen weather service, and nothing else at all."""

import re
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from html import unescape
from typing import Any
from urllib.parse import urljoin

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from breeder.base import form_tokens
from breeder.management import forecasting
from breeder.orders.models import Order
from breeder.shipments.models import Check, Parcel
from breeder.weather import refresh, service_registry
from breeder.weather.models import Place
from breeder.weather.services.request_parts import PROGRAM
from tests.orders.stand import counted_line, pack
from tests.shipments import boxes
from tests.weather import rogue
from tests.weather.rogue import Caller, says
from tests.weather.services import shapes

pytestmark = pytest.mark.django_db

MONDAY = date(2026, 10, 5)
MORNING = datetime(2026, 10, 5, 12, 20, tzinfo=UTC)
CONTACT = "keeper@example.org"
# The buyer's exact house and the home's exact coordinates, none of which may be told to anybody.
BUYER = "Ada Marsh\n1 Fern Lane\nTrenton NJ 08608"
SECRETS = ("ada", "marsh", "fern", "trenton", "08608", "10001", "shelf", "harbour", "armadillidium", "box", "order")
PLACES = {"40.22,-74.76", "40.75,-74"}
HEADERS = {"host", "user-agent", "accept", "accept-encoding"}


@pytest.fixture(autouse=True)
def nowhere_else() -> Iterator[list[Any]]:
    with rogue.only_this_machine() as tried:
        yield tried


@pytest.fixture(autouse=True)
def _packing_day() -> Iterator[None]:
    with time_machine.travel(MORNING, tick=False):
        yield


def norway(caller: Caller) -> None:
    """Mild hours for the place that was asked for."""
    asked = dict(part.split("=") for part in caller.path.partition("?")[2].split("&"))
    first = MORNING.replace(minute=0)
    steps = [shapes.step(f"{first + timedelta(hours=hour):%Y-%m-%dT%H:%M:%SZ}", 16.0 + hour % 3) for hour in range(216)]
    document = shapes.series(steps, updated_at="2026-10-05T11:37:54Z")
    document["geometry"]["coordinates"] = [float(asked["lon"]), float(asked["lat"]), 10]
    says(document)(caller)


def us(caller: Caller) -> None:
    """The point, its grid with mild hours, and no stations."""
    if caller.path.startswith("/points/"):
        says(shapes.point(), kind="application/geo+json")(caller)
    elif caller.path.endswith("/stations"):
        says({}, 404, "application/problem+json")(caller)
    else:
        rows = [{"validTime": "2026-10-05T11:00:00+00:00/P7DT14H", "value": 17.2}]
        document = shapes.grid(rows, updateTime="2026-10-05T11:12:00+00:00")
        says(document, kind="application/geo+json")(caller)


def bring() -> refresh.RefreshReport:
    """As the command and the thread beside the site do, without waiting a second between two questions."""

    def make(service: Any, own_home: str) -> Any:
        made = service_registry.fetcher_for(service, own_home)
        made.sleep = lambda seconds: None
        return made

    return refresh.refresh(forecasting.places_needed, make=make)


def settle(client: Client, **weather: str) -> None:
    """Fill in the settings as a keeper does on the first day."""
    page = client.get(reverse("base:settings"))
    given = {name: value for name, value in page.context["form"].initial.items() if value not in (None, False)}
    given |= {"postcode": "10001", "comfort_tolerance": "20", "hard_tolerance": "5", "trade_name": "The shelf"}
    assert client.post(reverse("base:settings"), given | weather).status_code == 302


def order_a_box(client: Client) -> Parcel:
    """Agree the order, write down the money, plan the box; each by its form."""
    starter = pack(counted_line("Harbour", 60))
    boxes.bare()
    boxes.service()
    typed = {"new_name": "Ada Marsh", "address_block": BUYER, "held_until": "2026-10-09", "postage": "9.50"}
    typed |= {"looked_up": "on", f"packs-{starter.pk}": "2", "agree": "1", "token": form_tokens.new_token()}
    assert client.post(reverse("orders:new"), typed).status_code == 302
    order = Order.objects.get()
    money = {"amount": "57.50", "on": MONDAY.isoformat(), "way": "in"}
    assert client.post(reverse("orders:pay", args=[order.number]), money).status_code == 302
    assert client.post(reverse("shipments:plan", args=[order.number])).status_code == 302
    return Parcel.objects.get()


def look_at_every_page(client: Client, box: Parcel) -> None:
    """Open what a keeper opens on such a day, the papers too."""
    pages = [reverse("shipments:list"), reverse("shipments:board"), reverse("shipments:parcel", args=[box.number])]
    pages += [reverse("dashboard:page"), reverse("orders:order", args=[box.order.number]), reverse("weather:places")]
    pages += [reverse("weather:place", args=[pk]) for pk in Place.objects.values_list("pk", flat=True)]
    pages += [f"/paper/{box.number}/{paper}.pdf" for paper in ("pulling-list", "packing-slip", "address-label")]
    for address in pages:
        answer = client.get(address)
        assert answer.status_code == 200, address
        b"".join(answer.streaming_content) if answer.streaming else answer.content


def pack_and_send(client: Client, box: Parcel) -> None:
    """Check the box, pack it, hand it over."""
    client.post(reverse("shipments:check_all"))
    check = Check.objects.first()
    assert check is not None
    assert check.verdict == Check.Verdict.GO, check.reason
    packed = {f"packed_{item.pk}": str(item.planned) for item in box.items.all()}
    client.post(reverse("shipments:packed", args=[box.number]), packed)
    answer = client.post(reverse("shipments:send", args=[box.number]), packed | {"tracking": "T 9"}, follow=True)
    assert "It was sent" in answer.content.decode()


def whole_day(client: Client) -> None:
    box = order_a_box(client)
    bring()
    look_at_every_page(client, box)
    pack_and_send(client, box)
    look_at_every_page(client, box)
    bring()


NORWAY_ASKS = {
    f"/weatherapi/locationforecast/2.0/complete?lat={north}&lon={east}"
    for north, east in (place.split(",") for place in PLACES)
}
US_ASKS = {f"/points/{place}" for place in PLACES} | {"/gridpoints/MEG/0,31", "/gridpoints/MEG/0,31/stations"}


@pytest.mark.parametrize(
    ("service", "answers", "expected", "accept"),
    [("met", norway, NORWAY_ASKS, "application/json"), ("nws", us, US_ASKS, "application/geo+json")],
    ids=["MET Norway", "US service"],
)
def test_a_packing_day_tells_the_chosen_service_two_rounded_places(
    keeper_client: Client, service: str, answers: Any, expected: set[str], accept: str, nowhere_else: list[Any]
) -> None:
    with rogue.rogue(answers) as server:
        settle(keeper_client, weather_service=service, weather_contact=CONTACT, weather_url=server.home)
        whole_day(keeper_client)
    assert nowhere_else == []
    assert {path for path, _ in server.asked} == expected
    # What is still good is not asked again, however many pages were opened.
    assert len(server.asked) == (2 if service == "met" else 6)
    for path, headers in server.asked:
        assert set(headers) == HEADERS
        assert headers["user-agent"] == f"{PROGRAM} ({CONTACT})"
        assert headers["accept"] == accept
        told = f"{path} {headers}".lower().replace(f"{PROGRAM} ({CONTACT})".lower(), "")
        assert [word for word in SECRETS if word in told] == []


def follow_every_link(client: Client) -> set[str]:
    """Open every page that links lead to from the first one, and what they lead to, as a keeper may."""
    seen, waiting = set[str](), ["/"]
    while waiting:
        address = waiting.pop()
        answer = client.get(address)
        assert answer.status_code in (200, 302), address
        body = b"".join(answer.streaming_content) if answer.streaming else answer.content
        if "text/html" not in answer.headers.get("Content-Type", ""):
            continue
        found = {
            re.split("[?#]", urljoin(address, unescape(one)))[0] for one in re.findall(r'href="([^"]+)"', body.decode())
        }
        new = {one for one in found if one.startswith("/") and not one.startswith("/static/")} - seen
        seen |= new
        waiting += sorted(new)
    return seen


def test_no_page_asks_anybody_by_itself(keeper_client: Client, nowhere_else: list[Any]) -> None:
    with rogue.rogue(norway) as server:
        settle(keeper_client, weather_service="met", weather_contact=CONTACT, weather_url=server.home)
        box = order_a_box(keeper_client)
        seen = follow_every_link(keeper_client)
        assert (server.asked, nowhere_else) == ([], [])
        assert bring().brought == 2
        asked = len(server.asked)
        keeper_client.post(reverse("shipments:check", args=[box.number]))
        seen |= follow_every_link(keeper_client)
        assert (len(server.asked), nowhere_else) == (asked, [])
    assert reverse("weather:place", args=[Place.objects.first().pk]) in seen  # type: ignore[union-attr]
    assert reverse("shipments:parcel", args=[box.number]) in seen
    assert len(seen) > 60


def test_a_second_service_is_told_the_same_places_and_no_more(keeper_client: Client, nowhere_else: list[Any]) -> None:
    with rogue.rogue(lambda caller: (norway if caller.path.startswith("/weatherapi/") else us)(caller)) as server:
        settle(
            keeper_client, weather_service="nws", weather_second="met", weather_contact=CONTACT,
            weather_url=server.home,
        )  # fmt: skip
        whole_day(keeper_client)
    assert nowhere_else == []
    assert {path for path, _ in server.asked} == US_ASKS | NORWAY_ASKS


def test_with_no_service_chosen_nothing_at_all_is_sent(keeper_client: Client, nowhere_else: list[Any]) -> None:
    with rogue.rogue(norway) as server:
        settle(keeper_client, weather_contact=CONTACT, weather_url=server.home)
        box = order_a_box(keeper_client)
        assert bring().troubles == ["No weather service is chosen. Choose one in the settings, or send in files."]
        look_at_every_page(keeper_client, box)
        keeper_client.post(reverse("shipments:check_all"))
        assert Check.objects.get().verdict == Check.Verdict.NOT_DECIDED
        for here in Place.objects.all():
            keeper_client.post(reverse("weather:fresh", args=[here.pk]))
    assert (server.asked, nowhere_else) == ([], [])
