"""Pages of services and closures."""

from datetime import date
from decimal import Decimal

import pytest
import time_machine
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from breeder.base import form_tokens
from breeder.base.models import Setting
from breeder.carriers.actions import load_example_services
from breeder.carriers.models import Closure, Service

pytestmark = pytest.mark.django_db
TYPED = {
    "carrier": "Post", "name": "tracked", "weekdays": ["0", "1"], "least_days": "1", "usual_days": "2",
    "latest_days": "3", "late": "80, 15, 5", "cut_off": "16:00", "delivers_from": "09:00",
    "delivers_until": "17:00", "doorstep_hours": "4", "to_doorstep": "on",
    "price": "12.50", "active": "on", "truck_at": "20:00", "network": "depots", "doorstep": "unknown",
}  # fmt: skip


def send(client: Client, **changed: object) -> object:
    return client.post(reverse("carriers:service_new"), TYPED | {"token": form_tokens.new_token()} | changed)


def test_examples_are_loaded_once_and_marked_as_such() -> None:
    assert load_example_services(today=date(2026, 3, 1)) == 3
    assert load_example_services(today=date(2026, 3, 1)) == 0
    assert all("unverified example" in service.source for service in Service.objects.all())
    assert Closure.objects.filter(on=date(2027, 7, 5)).exists()  # 4 July 2027 is a Sunday


def test_a_service_is_kept_with_its_delays(keeper_client: Client) -> None:
    assert send(keeper_client).status_code == 302
    assert Service.objects.get(name="tracked").delay_shares == [0.8, 0.15, 0.05]
    assert b"Post tracked" in keeper_client.get(reverse("carriers:services")).content


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"late": "80, 50"}, "adds up to 130"),
        ({"late": "often"}, "is not a list of percentages"),
        ({"usual_days": "5"}, "latest not before usual"),
        ({"least_days": "3"}, "At best 3 working days cannot be with 2 as usual"),
        ({"latest_days": "400"}, "lie between 1 and 15"),
        ({"hub_c": "65"}, "If 65 °F was meant, write 18.3"),
        ({"van_hours": "40"}, "the largest it can be is 12"),
        ({"network": "balloon"}, "is not in the list"),
        ({"cut_off": "teatime"}, "is not a time"),
    ],
)
def test_bad_values_get_a_sentence_and_are_kept(keeper_client: Client, changed: dict[str, str], sentence: str) -> None:
    answer = send(keeper_client, **changed)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert 'value="tracked"' in answer.content.decode()
    assert not Service.objects.exists()


def test_a_year_of_holidays_is_added_once(keeper_client: Client) -> None:
    for _ in range(2):
        keeper_client.post(
            reverse("carriers:closures"), {"carrier": "Post", "year": "2027", "token": form_tokens.new_token()}
        )
    assert Closure.objects.count() == 11


def test_a_closure_is_added_and_taken_off(keeper_client: Client) -> None:
    keeper_client.post(reverse("carriers:closures"), {"carrier": "Post", "on": "2031-05-02", "name": "Strike"})
    closure = Closure.objects.get()
    keeper_client.post(reverse("carriers:remove_closure", args=[closure.pk]))
    assert not Closure.objects.exists()


def test_a_helper_reads_services_but_does_not_change_them(helper_client: Client) -> None:
    assert helper_client.get(reverse("carriers:services")).status_code == 200
    assert helper_client.get(reverse("carriers:service_new")).status_code == 403


def test_a_closure_is_of_a_carrier_in_the_book_however_it_is_typed(keeper_client: Client) -> None:
    load_example_services()
    page = reverse("carriers:closures")
    keeper_client.post(page, {"carrier": " post", "on": "2031-05-02", "name": "Strike"})
    keeper_client.post(page, {"carrier": "POST", "year": "2032"})
    assert set(Closure.objects.values_list("carrier", flat=True)) == {"Post"}
    for more in ({"on": "2031-05-05", "name": "Strike"}, {"year": "2033"}):
        answer = keeper_client.post(page, {"carrier": "Pots"} | more)
        assert answer.status_code == 422
        assert "No service of ‘Pots’ is in the book. Write one of: Post; or add" in answer.content.decode()


def test_closures_of_next_year_are_asked_for_from_late_autumn_on(keeper_client: Client, keeper: User) -> None:
    load_example_services(today=date(2025, 3, 1))  # closures of 2025 and 2026
    Service.objects.create(carrier="Courier", name="next day", weekdays=[0], cut_off="16:00")
    for day, is_asked in (("2026-10-20", False), ("2026-11-25", True), ("2026-12-28", True)):
        with time_machine.travel(f"{day}T12:00:00Z", tick=False):
            keeper_client.force_login(keeper)  # a sign-in ends after two weeks
            page = keeper_client.get(reverse("carriers:services")).content.decode()
            assert ("No closures of Post are kept for 2027." in page) == is_asked
            assert "No closures of Courier are kept for 2026." in page
            assert "No closures of Courier" in keeper_client.get(reverse("carriers:closures")).content.decode()


def test_delay_shares_are_shown_with_where_they_come_from(keeper_client: Client) -> None:
    send(keeper_client)
    page = keeper_client.get(reverse("carriers:services")).content.decode()
    assert "on time 80 %, 1 day late 15 %, 2 days late 5 %" in page
    assert "your own figures" in page
    Service.objects.update(delay_shares=[0.87, 0.09, 0.04])
    assert "published reports of first-class mail" in keeper_client.get(reverse("carriers:services")).content.decode()


def test_five_hundred_services_cost_no_query_more_than_ten(keeper_client: Client) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as seen:
            keeper_client.get(reverse("carriers:services"))
        return len(seen)

    def add(first: int, last: int) -> None:
        for number in range(first, last):
            Service.objects.create(carrier=f"Post {number}", name="x", weekdays=[0], cut_off="16:00")

    add(0, 10)
    queries()
    few = queries()
    add(10, 500)
    assert queries() == few


def test_what_is_known_of_a_services_route_is_kept_and_shown(keeper_client: Client) -> None:
    Setting.objects.update_or_create(pk=Setting.ONLY, defaults={"fahrenheit": True})
    known = {"network": "trailers", "doorstep": "shade", "hub_c": "65", "van_hours": "2.5", "truck_at": "18:30"}
    assert send(keeper_client, **known).status_code == 302
    service = Service.objects.get()
    assert (service.hub_c, service.van_hours, f"{service.truck_at:%H:%M}") == (Decimal("18.3"), Decimal("2.5"), "18:30")
    page = keeper_client.get(reverse("carriers:services")).content.decode()
    assert "through the night in unheated trailers; doorstep in the shade" in page
    assert 'value="64.9"' in keeper_client.get(reverse("carriers:service", args=[service.pk])).content.decode()
