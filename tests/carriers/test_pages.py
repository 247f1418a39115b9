"""Pages of services and closures."""

from datetime import date

import pytest
from django.test import Client
from django.urls import reverse

from breeder.carriers.actions import load_example_services
from breeder.carriers.models import Closure, Service
from breeder.pages import once

pytestmark = pytest.mark.django_db
TYPED = {
    "carrier": "Post", "name": "tracked", "weekdays": ["0", "1"], "usual_days": "2", "latest_days": "3",
    "late": "80, 15, 5", "cut_off": "16:00", "delivers_from": "09:00",
    "delivers_until": "17:00", "doorstep_hours": "4", "to_doorstep": "on",
    "price": "12.50", "active": "on",
}  # fmt: skip


def send(client: Client, **changed: object) -> object:
    return client.post(reverse("carriers:service_new"), TYPED | {"token": once.new_token()} | changed)


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
    ("changed", "said"),
    [
        ({"late": "80, 50"}, "adds up to 130"),
        ({"late": "often"}, "is not a list of percentages"),
        ({"usual_days": "5"}, "latest not before usual"),
        ({"latest_days": "400"}, "lie between 1 and 15"),
        ({"cut_off": "teatime"}, "is not a time"),
    ],
)
def test_bad_values_get_a_sentence_and_are_kept(keeper_client: Client, changed: dict[str, str], said: str) -> None:
    answer = send(keeper_client, **changed)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert 'value="tracked"' in answer.content.decode()
    assert not Service.objects.exists()


def test_a_year_of_holidays_is_added_once(keeper_client: Client) -> None:
    for _ in range(2):
        keeper_client.post(reverse("carriers:closures"), {"carrier": "Post", "year": "2027", "token": once.new_token()})
    assert Closure.objects.count() == 11


def test_a_closure_is_added_and_taken_off(keeper_client: Client) -> None:
    keeper_client.post(reverse("carriers:closures"), {"carrier": "Post", "on": "2031-05-02", "name": "Strike"})
    closure = Closure.objects.get()
    keeper_client.post(reverse("carriers:remove_closure", args=[closure.pk]))
    assert not Closure.objects.exists()


def test_a_helper_reads_services_but_does_not_change_them(helper_client: Client) -> None:
    assert helper_client.get(reverse("carriers:services")).status_code == 200
    assert helper_client.get(reverse("carriers:service_new")).status_code == 403
