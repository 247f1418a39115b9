"""People on file: pages, corrections, moves, and removal on request."""

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from breeder.base import form_tokens
from breeder.base.models import LogRow
from breeder.base.steps import log
from breeder.orders.models import Order
from breeder.people import actions, rules
from breeder.people.models import Address, Person
from tests import build

pytestmark = pytest.mark.django_db

PERSON = {"name": "Ada Marsh", "kind": "customer", "email": "", "phone": "", "consent_on": "", "note": ""}
ADDRESS = {
    "block": "Ada Marsh\r\n1 Fern Lane\r\nTrenton NJ 08608",
    "country": "",
    "postcode": "",
    "latitude": "",
    "longitude": "",
    "timezone": "",
}


def order_for(person: Person, number: int = 7, status: str = Order.Status.PAID) -> Order:
    to = person.addresses.first()
    return Order.objects.create(number=number, person=person, address=to, status=status, agreed_at=timezone.now())


class TestPuttingOnFile:
    def test_a_pasted_address_is_placed_and_rounded(self, keeper_client: Client) -> None:
        typed = PERSON | ADDRESS | {"consent_on": "2026-02-01", "token": form_tokens.new_token()}
        for _ in range(2):  # the second is a double click
            answer = keeper_client.post(reverse("people:new"), typed)
            assert answer["Location"] == reverse("people:person", args=[Person.objects.get().pk])
        kept = Address.objects.get()
        assert (str(kept.latitude), str(kept.longitude)) == ("40.22", "-74.76")
        assert (kept.town, kept.region, kept.timezone) == ("Trenton", "US-NJ", "America/New_York")
        text = keeper_client.get(answer["Location"]).content.decode()
        assert "1 Fern Lane<br>Trenton" in text
        assert "agreed on 1 Feb 2026" in text

    def test_somebody_may_be_kept_without_an_address(self, keeper_client: Client) -> None:
        assert keeper_client.post(reverse("people:new"), PERSON | ADDRESS | {"block": ""}).status_code == 302
        assert not Address.objects.exists()
        text = keeper_client.get(reverse("people:person", args=[Person.objects.get().pk])).content.decode()
        assert "No address yet" in text
        assert "No date of consent is noted" in text

    @pytest.mark.parametrize(
        ("changed", "said"),
        [
            ({"block": "Ada Marsh\nTrenton NJ 00000"}, "no place for 00000"),
            ({"block": "Ada Marsh\nCork\nIreland"}, "this address is in Ireland (IE)"),
            ({"latitude": "40.22", "longitude": "74.76", "timezone": "America/New_York"}, "have a minus sign"),
            ({"block": "", "latitude": "52.5", "longitude": "13.4", "timezone": "Europe/Berlin"}, "but no address"),
            ({"latitude": "52.5"}, "Fill in all three"),
            ({"timezone": "Berlin"}, "Write Europe/Berlin"),
            ({"latitude": "north"}, "‘Latitude’ is ‘north’, which is not a number"),
            ({"country": "USA"}, "as two letters"),
            ({"country": "XX"}, "‘XX’ is no country by ISO 3166"),
            ({"email": "ada"}, "is not an e-mail address"),
            ({"name": ""}, "‘Name’ is empty"),
            ({"name": "a" * 200}, "has 200 letters and signs; 120 fit"),
            ({"consent_on": "31.2.2026"}, "which is not a date"),
            ({"block": "Ada\x00Marsh\nTrenton NJ 08608"}, "a sign that cannot be kept"),
        ],
    )
    def test_a_bad_value_gets_a_sentence_and_what_was_typed_stays(
        self, keeper_client: Client, changed: dict[str, str], said: str
    ) -> None:
        typed = PERSON | ADDRESS | {"note": "pays at the show"} | changed
        answer = keeper_client.post(reverse("people:new"), typed)
        assert answer.status_code == 422
        assert said in answer.content.decode()
        assert "pays at the show" in answer.content.decode()
        assert not Person.objects.exists()

    def test_an_address_may_be_kept_without_a_place(self, keeper_client: Client) -> None:
        typed = PERSON | ADDRESS | {"block": "Ada Marsh\nTrenton NJ 00000", "without_place": "on"}
        answer = keeper_client.post(reverse("people:new"), typed)
        assert Address.objects.get().latitude is None
        assert "It has no place" in keeper_client.get(answer["Location"]).content.decode()

    def test_a_place_outside_the_us_is_typed_as_a_map_gives_it(self, keeper_client: Client) -> None:
        """A comma, a true minus sign and a zone in small letters; kept to 0.01°."""
        block = "Ana Reyes\nCalle Musgo 3\n28012 Madrid\nSpain"
        place = {"latitude": "40,41678", "longitude": "\u22123,70379", "timezone": "europe/madrid"}
        assert keeper_client.post(reverse("people:new"), PERSON | ADDRESS | {"block": block} | place).status_code == 302
        kept = Address.objects.get()
        assert (kept.country, str(kept.latitude), str(kept.longitude)) == ("ES", "40.42", "-3.70")
        assert kept.timezone == "Europe/Madrid"

    def test_a_country_typed_by_another_name_is_the_one_that_rules_speak_of(self, keeper_client: Client) -> None:
        typed = PERSON | ADDRESS | {"block": "Ada Marsh\nLondon SW1A 1AA", "country": "uk", "without_place": "on"}
        keeper_client.post(reverse("people:new"), typed)
        kept = Address.objects.get()
        assert (kept.country, kept.postcode, kept.town) == ("GB", "SW1A 1AA", "London")


class TestChanging:
    def test_a_corrected_address_is_the_same_row_so_open_orders_follow(self, keeper_client: Client) -> None:
        one = build.person()
        kept = build.address(one)
        order = order_for(one)
        typed = ADDRESS | {"block": "Ada Marsh\n9 Moss Road\nAustin TX 78701"}
        url = reverse("people:address_edit", args=[one.pk, kept.pk])
        assert keeper_client.post(url, typed).status_code == 302
        order.refresh_from_db()
        assert order.address.town == "Austin"
        assert Address.objects.count() == 1

    @pytest.mark.parametrize(
        ("was", "becomes", "read"),
        [
            ("1 Fern Lane\nTrenton NJ 08608", "9 Moss Road\nNewark NJ 07102", ("US", "07102", "Newark")),
            ("1 Farnweg\n10117 Berlin\nGermany", "9 Rue Verte\n75001 Paris\nFrance", ("FR", "75001", "Paris")),
        ],
    )
    def test_a_block_put_right_is_not_overruled_by_what_the_former_one_said(
        self, keeper_client: Client, was: str, becomes: str, read: tuple[str, str, str]
    ) -> None:
        one = build.person()
        typed = ADDRESS | {"block": was, "without_place": "" if "NJ" in was else "on"}
        keeper_client.post(reverse("people:address_new", args=[one.pk]), typed)
        url = reverse("people:address_edit", args=[one.pk, Address.objects.get().pk])
        form = keeper_client.get(url).context["form"]
        shown = {name: form[name].value() or "" for name in form.fields}
        assert keeper_client.post(url, shown | {"block": becomes}).status_code == 302
        kept = Address.objects.get()
        assert (kept.country, kept.postcode, kept.town) == read
        assert str(kept.latitude) == ("40.73" if "NJ" in was else "None")

    def test_what_was_typed_beside_a_block_is_shown_again_and_open(self, keeper_client: Client) -> None:
        typed = ADDRESS | {"block": "1 Fern Lane\nTrenton NJ", "country": "US", "postcode": "08608"}
        one = build.person()
        keeper_client.post(reverse("people:address_new", args=[one.pk]), typed)
        url = reverse("people:address_edit", args=[one.pk, Address.objects.get().pk])
        form = keeper_client.get(url).context["form"]
        assert (form["country"].value(), form["postcode"].value(), form.asks_for_more) == ("US", "08608", True)

    def test_somebody_who_moved_keeps_the_former_address_with_what_went_there(self, keeper_client: Client) -> None:
        one = build.person()
        former = build.address(one)
        order = order_for(one, status=Order.Status.SENT)
        typed = ADDRESS | {"block": "Ada Marsh\n9 Moss Road\nAustin TX 78701"}
        keeper_client.post(reverse("people:address_new", args=[one.pk]), typed)
        order.refresh_from_db()
        assert (order.address, order.address.town) == (former, "")
        assert [address.town for address in one.addresses.filter(is_current=True)] == ["Austin"]

    def test_a_place_typed_by_hand_is_shown_again_and_one_by_postcode_is_not(self, keeper_client: Client) -> None:
        one = build.person()
        by_code = build.address(one)
        by_hand = build.address(one, country="DE", postcode="10117", latitude="52.52", longitude="13.41")
        shown = [
            keeper_client.get(reverse("people:address_edit", args=[one.pk, address.pk])).content.decode()
            for address in (by_code, by_hand)
        ]
        assert 'value="40.22"' not in shown[0]
        assert 'value="52.52"' in shown[1]

    def test_details_are_changed(self, keeper_client: Client) -> None:
        one = build.person()
        keeper_client.post(reverse("people:edit", args=[one.pk]), PERSON | {"name": "Ada Reed", "phone": "555 0101"})
        one.refresh_from_db()
        assert (one.name, one.phone) == ("Ada Reed", "555 0101")

    def test_an_address_of_somebody_else_is_not_found(self, keeper_client: Client) -> None:
        other = build.address(build.person("Bo Reed"))
        url = reverse("people:address_edit", args=[build.person().pk, other.pk])
        assert keeper_client.get(url).status_code == 404


class TestRemoval:
    def test_name_contacts_and_addresses_go_and_the_figures_stay(self, keeper_client: Client, keeper: Any) -> None:
        one = build.person(email="ada@example.org", phone="555 0100", note="likes Cubaris")
        build.address(one)
        order = order_for(one, status=Order.Status.SENT)
        log("order agreed", "order 7", "Order 7 was agreed with Ada Marsh.", by=keeper, facts={"who": "Ada Marsh"})
        url = reverse("people:remove", args=[one.pk])
        assert keeper_client.post(url, {}).status_code == 422
        assert keeper_client.post(url, {"sure": "on"}).status_code == 302
        kept = [*Person.objects.values_list(), *Address.objects.values_list(), *LogRow.objects.values_list()]
        for gone in ("Ada", "Marsh", "ada@example.org", "555 0100", "Cubaris", "Fern Lane", "08608", "40.22"):
            assert gone not in str(kept)
        order.refresh_from_db()
        assert (order.number, order.status, order.person_id) == (7, "sent", one.pk)
        row = LogRow.objects.get(did="person removed")
        assert (row.by, row.about) == (keeper, f"person {one.pk}")
        assert keeper_client.get(reverse("people:person", args=[one.pk])).status_code == 404
        assert (
            str(one.pk)
            not in keeper_client.get(reverse("people:list"), {"q": "removed"}).content.decode("utf-8")[-400:]
        )

    @pytest.mark.parametrize("status", ["held", "paid"])
    def test_it_waits_while_a_box_is_to_be_sent(self, keeper_client: Client, status: str) -> None:
        one = build.person()
        build.address(one)
        order_for(one, status=status)
        answer = keeper_client.post(reverse("people:remove", args=[one.pk]), {"sure": "on"})
        assert answer.status_code == 422
        assert "still has an open order (7)" in answer.content.decode()
        one.refresh_from_db()
        assert one.name == "Ada Marsh"

    def test_others_whose_name_holds_the_same_letters_are_left_alone(self) -> None:
        one = build.person("Ann")
        log("order agreed", "order 8", "Agreed with Annabel; Ann asked too.", by=None)
        actions.remove_person(one.pk, by=None)
        said = LogRow.objects.get(did="order agreed").sentence
        assert said == f"Agreed with Annabel; person {one.pk} ({rules.REMOVED}) asked too."


class TestReading:
    def test_the_list_is_searched_by_name_town_and_kind(self, keeper_client: Client) -> None:
        build.address(build.person(), town="Trenton")
        build.person("Bo Reed", kind="swap partner")
        url = reverse("people:list")
        assert "Bo Reed" not in keeper_client.get(url, {"q": "trenton"}).content.decode()
        assert "Ada Marsh" not in keeper_client.get(url, {"kind": "swap partner"}).content.decode()
        assert keeper_client.get(url, {"q": "a\x00b"}).status_code == 200
        build.address(build.person("Örjan Ünal"), town="Ängelholm")
        for words in ("örjan", "ÜNAL", "ängel"):
            assert "Örjan Ünal" in keeper_client.get(url, {"q": words}).content.decode()

    def test_the_csv_runs_nothing_in_a_spreadsheet(self, keeper_client: Client) -> None:
        build.person("=HYPERLINK(1)")
        text = keeper_client.get(reverse("people:list"), {"csv": ""}).content.decode("utf-8-sig")
        assert "'=HYPERLINK(1)" in text

    def test_addresses_are_the_keepers_alone(self, client: Client, helper_client: Client) -> None:
        one = build.person()
        build.address(one)
        for name, args in (("list", []), ("new", []), ("person", [one.pk]), ("edit", [one.pk]), ("remove", [one.pk]),
                           ("address_new", [one.pk])):  # fmt: skip
            url = reverse(f"people:{name}", args=args)
            assert helper_client.get(url).status_code == 403
            assert client.get(url).status_code == 302

    def test_the_list_takes_as_many_queries_for_many_as_for_few(
        self, keeper_client: Client, django_assert_max_num_queries: Any
    ) -> None:
        for number in range(60):
            build.address(build.person(f"Person {number}"))
        with django_assert_max_num_queries(10):
            keeper_client.get(reverse("people:list"))
