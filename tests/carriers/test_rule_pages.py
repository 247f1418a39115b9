"""Pages of the book of rules: a helper reads, the keeper writes; a file is taken whole or not at all."""

from datetime import date
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from breeder.base import form_tokens
from breeder.base.edit_conflicts import ChangedMeanwhile
from breeder.base.models import LogRow
from breeder.carriers.models import CarrierRule, MovementRule, Permit
from breeder.carriers.rule_actions import keep_file, load_example_rules, remove
from breeder.carriers.rule_csv import rules_in
from breeder.people import actions as people
from breeder.species.classification import known_taxa
from breeder.species.starter_set import starter_set
from tests import build
from tests.carriers import book
from tests.shipments.boxes import service

pytestmark = pytest.mark.django_db
RULE = {
    "taxon": "Isopoda", "destination": "us-fl", "origin": "", "effect": "permit", "permit_kind": "FDACS-08208",
    "authority": "FDACS", "citation": "F.A.C. 5B-57.004(1)", "verified": "on", "checked_on": "2026-01-05",
}  # fmt: skip
CARRIER = {
    "carrier": "Post", "takes": "takes", "season_from": "03-01", "season_until": "10-31", "most_days": "3",
    "citation": "ABCs of mailing", "marking": "LIVE",
}  # fmt: skip
PERMIT = {
    "number": "P-1", "issuer": "USDA APHIS", "kind": "PPQ 526", "direction": "send", "taxa": "Isopoda, Collembola",
    "origins": "us-ny", "destinations": "US-NJ; pr", "valid_from": "2026-01-01", "valid_until": "2026-12-31",
}  # fmt: skip


def send(client: Client, name: str, typed: dict[str, Any], *pk: int, **changed: Any) -> Any:
    return client.post(reverse(f"carriers:{name}", args=pk), typed | {"token": form_tokens.new_token()} | changed)


def upload(client: Client, text: str) -> Any:
    file = SimpleUploadedFile("rules.csv", text.encode("utf-8-sig"))
    return client.post(reverse("carriers:rules_file"), {"file": file, "token": form_tokens.new_token()})


def test_a_rule_is_written_down_with_a_day_to_look_again(keeper_client: Client) -> None:
    assert send(keeper_client, "rule_new", RULE).status_code == 302
    rule = MovementRule.objects.get()
    assert (rule.destination, rule.verified, rule.recheck_on) == ("US-FL", True, date(2027, 1, 5))
    assert LogRow.objects.get().sentence == (
        "Isopoda into US-FL: needs a permit, F.A.C. 5B-57.004(1), looked up on 5 January 2026."
    )
    said = keeper_client.get(reverse("carriers:rules")).content.decode()
    assert "Florida (US-FL)" in said
    assert "needs a permit (FDACS-08208)" in said


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"destination": "Florida, as far as I know" * 3}, "fit. Shorten it"),
        ({"destination": "Floridia"}, "‘FLORIDIA’ is no country or state"),
        ({"destination": "US-ZZ"}, "‘ZZ’ is no part of the United States (US) by ISO 3166-2"),
        ({"citation": ""}, "is empty. Fill it in"),
        ({"checked_on": ""}, "Write on which day"),
        ({"checked_on": "2999-01-01"}, "is still to come"),
        ({"recheck_on": "2025-01-01"}, "not after the one on which you looked"),
        ({"effect": "maybe"}, "is not in the list"),
    ],
)
def test_a_rule_that_cannot_be_gets_a_sentence(keeper_client: Client, changed: dict[str, str], said: str) -> None:
    answer = send(keeper_client, "rule_new", RULE, **changed)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not MovementRule.objects.exists()


def test_the_same_rule_is_not_written_twice(keeper_client: Client) -> None:
    send(keeper_client, "rule_new", RULE)
    answer = send(keeper_client, "rule_new", RULE, effect="allowed")
    assert "The book holds a rule for exactly this already" in answer.content.decode()
    assert MovementRule.objects.get().effect == "permit"


def test_the_database_keeps_no_rule_that_was_looked_up_on_no_day() -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        book.movement("allowed", checked_on=None)
    with pytest.raises(IntegrityError), transaction.atomic():
        book.carrier(recheck_on=None)
    with pytest.raises(IntegrityError), transaction.atomic():
        book.carrier(season_from="03-01")


def test_a_rule_is_changed_and_taken_out(keeper_client: Client) -> None:
    rule = book.movement("allowed")
    send(keeper_client, "rule", RULE, rule.pk, effect="forbidden")
    assert MovementRule.objects.get().effect == "forbidden"
    send(keeper_client, "rule", {"remove": "1"}, rule.pk)
    assert not MovementRule.objects.exists()
    assert LogRow.objects.first().sentence.startswith("Taken out: Isopoda into US-FL: forbidden")


def test_a_carriers_rule_is_written_down(keeper_client: Client) -> None:
    assert send(keeper_client, "carrier_rule_new", CARRIER).status_code == 302
    assert (CarrierRule.objects.get().verified, CarrierRule.objects.get().most_days) == (False, 3)
    said = keeper_client.get(reverse("carriers:carrier_rules")).content.decode()
    assert "yes; 1 March to 31 October; 3 working days at most" in said
    assert "unverified example" in said


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"season_from": "13-01"}, "is no month and day"),
        ({"season_until": ""}, "first and a last day"),
        ({"most_days": "40"}, "is not between 1 and 15"),
        ({"carrier": "Courier", "service": "1"}, "is a service of Post"),
    ],
)
def test_a_carriers_rule_that_cannot_be_gets_a_sentence(
    keeper_client: Client, changed: dict[str, str], said: str
) -> None:
    two_day = service()
    changed = {name: str(two_day.pk) if name == "service" else value for name, value in changed.items()}
    answer = send(keeper_client, "carrier_rule_new", CARRIER, **changed)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not CarrierRule.objects.exists()


def test_a_permit_is_written_down_with_its_scope(keeper_client: Client) -> None:
    assert send(keeper_client, "permit_new", PERMIT).status_code == 302
    permit = Permit.objects.get()
    assert permit.taxa == ["Isopoda", "Collembola"]
    assert permit.destinations == ["US-NJ", "US-PR"]
    assert permit.person is None
    answer = send(keeper_client, "permit_new", PERMIT, number="P-2", valid_until="2025-01-01", destinations="US-XX")
    assert "before it begins on 1 January 2026" in answer.content.decode()
    assert "‘XX’ is no part of" in answer.content.decode()


def test_a_permit_of_somebody_who_was_removed_does_not_become_the_keepers_own(keeper_client: Client) -> None:
    holder = build.person("Ada Marsh")
    send(keeper_client, "permit_new", PERMIT, person=holder.pk, direction="receive")
    permit = Permit.objects.get()
    people.remove_person(holder.pk, by=None)
    form = keeper_client.get(reverse("carriers:permit", args=[permit.pk])).context["form"]
    chosen = form["person"].value() if form["person"].value() in dict(form.fields["person"].choices) else ""
    send(keeper_client, "permit", PERMIT, permit.pk, person=chosen, direction="receive", conditions="Sealed")
    permit.refresh_from_db()
    assert (permit.person, permit.conditions) == (holder, "Sealed")


def test_a_permit_that_was_changed_meanwhile_is_not_written_over(keeper_client: Client) -> None:
    send(keeper_client, "permit_new", PERMIT)
    permit = Permit.objects.get()
    seen = keeper_client.get(reverse("carriers:permit", args=[permit.pk])).context["form"]["seen"].value()
    send(keeper_client, "permit", PERMIT, permit.pk, valid_until="2027-12-31", seen=seen)
    stale = send(keeper_client, "permit", PERMIT, permit.pk, conditions="Sealed", seen=seen)
    assert "was changed since you opened this page" in stale.content.decode()
    assert Permit.objects.get().valid_until == date(2027, 12, 31)


def test_a_helper_reads_and_does_not_write(helper_client: Client) -> None:
    rule = book.movement("allowed")
    for name in ("rules", "carrier_rules", "permits"):
        assert helper_client.get(reverse(f"carriers:{name}")).status_code == 200
    for name, args in [
        ("rule_new", []),
        ("carrier_rule_new", []),
        ("permit_new", []),
        ("rules_file", []),
        ("rules_csv", []),
        ("rule", [rule.pk]),
    ]:
        assert helper_client.get(reverse(f"carriers:{name}", args=args)).status_code == 403
        assert helper_client.post(reverse(f"carriers:{name}", args=args), RULE | {"remove": "1"}).status_code == 403
    assert MovementRule.objects.get() == rule


def test_the_book_answers_for_a_species_and_a_place(keeper_client: Client) -> None:
    vulgare = build.species(order_name="Isopoda")
    ask = reverse("carriers:rules")
    assert b"The book leaves it open" in keeper_client.get(ask, {"species": vulgare.pk, "into": "us-fl"}).content
    book.movement("forbidden", destination="US-FL")
    assert b"is forbidden: 7 CFR 330.200" in keeper_client.get(ask, {"species": vulgare.pk, "into": "us-fl"}).content
    assert b"is no country or state" in keeper_client.get(ask, {"species": vulgare.pk, "into": "zz"}).content
    assert keeper_client.get(ask, {"species": "x", "into": ""}).status_code == 200


def test_a_file_is_taken_whole(keeper_client: Client) -> None:
    text = (
        "taxon,origin,destination,effect,citation,verified,checked_on\n"
        "Isopoda,US,us-fl,permit,F.A.C. 5B-57.004,yes,2026-01-05\n"
        ",,US-HI,forbidden,HRS 150A-6.2,no,\n"
    )
    assert upload(keeper_client, text).status_code == 302
    assert set(MovementRule.objects.values_list("taxon", "destination", "verified")) == {
        ("Isopoda", "US-FL", True),
        ("", "US-HI", False),
    }


def test_of_one_rule_and_one_day_it_is_said_in_the_singular(keeper_client: Client) -> None:
    upload(keeper_client, "taxon,destination,effect,citation\nIsopoda,US-FL,permit,F.A.C. 5B-57.004\n")
    assert "1 rule of the file is in the book." in keeper_client.get(reverse("carriers:rules")).content.decode()
    assert LogRow.objects.get().sentence == "1 rule of a file was written into the book."
    send(keeper_client, "carrier_rule_new", CARRIER, most_days="1")
    assert "1 working day at most" in keeper_client.get(reverse("carriers:carrier_rules")).content.decode()


def test_a_file_with_one_fault_is_not_taken_at_all(keeper_client: Client) -> None:
    text = (
        "taxon;destination;effect;citation;verified\n"
        "Isopoda;US-FL;permit;F.A.C. 5B-57.004;\n"
        "Isopoda;US-ZZ;permit;;yes\n"
        "Isopoda;US-FL;allowed;again;\n"
    )
    answer = upload(keeper_client, text)
    said = answer.content.decode()
    assert answer.status_code == 422
    for part in (
        "Row 3:",
        "‘ZZ’ is no part of",
        "is empty",
        "Row 4: it is the same rule as row 2",
        "Nothing of the file",
    ):
        assert part in said
    assert not MovementRule.objects.exists()


@pytest.mark.parametrize(
    "text",
    [
        "",
        "taxon,destination\nx,US\n",
        "taxon,destination,effect,citation,colour\n",
        "taxon,destination,effect,citation\n",
    ],
)
def test_what_is_no_table_of_rules_is_refused(keeper_client: Client, text: str) -> None:
    assert upload(keeper_client, text).status_code == 422


def test_a_file_that_two_browsers_send_at_once_is_kept_once_and_refused_once() -> None:
    text = b"taxon,destination,effect,citation\nIsopoda,US-FL,permit,F.A.C. 5B-57.004\n"
    first, second = rules_in(text), rules_in(text)
    assert keep_file(first, by=None) == 1
    with pytest.raises(ValidationError, match="by somebody else just now, so nothing was kept"):
        keep_file(second, by=None)
    assert MovementRule.objects.count() == 1


def test_the_download_can_be_read_in_again(keeper_client: Client) -> None:
    load_example_rules()
    book.movement("allowed", note="=1+1")
    before = list(
        MovementRule.objects.values_list("taxon", "destination", "effect", "note", "checked_on").order_by(
            "destination", "taxon", "authority"
        )
    )
    text = keeper_client.get(reverse("carriers:rules_csv")).content.decode("utf-8-sig")
    assert upload(keeper_client, text).status_code == 302
    after = list(
        MovementRule.objects.values_list("taxon", "destination", "effect", "note", "checked_on").order_by(
            "destination", "taxon", "authority"
        )
    )
    assert after == before


def test_examples_are_loaded_once_unverified_and_marked_as_such() -> None:
    added = load_example_rules()
    assert added == MovementRule.objects.count() + CarrierRule.objects.count() > 20
    assert load_example_rules() == 0
    for rule in (*MovementRule.objects.all(), *CarrierRule.objects.all()):
        assert not rule.verified
        assert rule.note.startswith("Unverified example, never law and never advice.")
        assert rule.citation
        rule.full_clean()


def test_the_examples_name_taxa_that_cover_something() -> None:
    """A misspelt taxon would cover nothing and nobody would notice."""
    load_example_rules()
    species = {one.scientific_name for one in starter_set()}
    names = {
        *MovementRule.objects.values_list("taxon", flat=True),
        *CarrierRule.objects.values_list("taxon", flat=True),
    }
    assert names - {""} <= known_taxa() | species


@pytest.mark.parametrize(
    ("destination", "citation", "effect"),
    [
        # As named in the copies that were read: Hawaii Revised Statutes, California Food and Agricultural Code,
        # Florida Administrative Code, Oregon Administrative Rules.
        ("US-HI", "HRS 150A-6.2", "forbidden"),
        ("US-CA", "6305", "permit"),
        ("US-FL", "5B-57.004(1)", "permit"),
        ("US-OR", "603-052-1320", "permit"),
    ],
)
def test_the_examples_of_states_bear_their_citation(destination: str, citation: str, effect: str) -> None:
    load_example_rules()
    assert MovementRule.objects.filter(destination=destination, citation__contains=citation, effect=effect).exists()


@pytest.mark.parametrize("name", ["rules", "carrier_rules", "permits"])
def test_five_hundred_rows_cost_the_list_no_query_more_than_ten(keeper_client: Client, name: str) -> None:
    person, post = build.person(), service()

    def rows(first: int, last: int) -> None:
        for number in range(first, last):
            book.movement("allowed", f"Genus{number}")
            book.carrier(taxon=f"Genus{number}", service=post)
            book.permit(number=f"P-{number}", person=person)

    def queries() -> int:
        with CaptureQueriesContext(connection) as seen:
            assert keeper_client.get(reverse(f"carriers:{name}")).status_code == 200
        return len(seen)

    rows(0, 10)
    queries()
    few = queries()
    rows(10, 500)
    assert queries() == few


def test_a_list_says_which_rules_are_to_be_looked_up_again(helper_client: Client) -> None:
    book.movement("allowed", recheck_on=date(2013, 1, 1))
    book.permit(valid_until=date(2013, 1, 1))
    assert "look again" in helper_client.get(reverse("carriers:rules")).content.decode()
    assert "ran out on 1 Jan 2013" in helper_client.get(reverse("carriers:permits")).content.decode()


def test_a_taxon_that_covers_nothing_is_asked_about(keeper_client: Client) -> None:
    build.species(order_name="Isopoda", family="Armadillidiidae")

    def said(taxon: str) -> str:
        send(keeper_client, "rule_new", RULE, taxon=taxon)
        return keeper_client.get(reverse("carriers:rules")).content.decode()

    assert "No species in the book is covered by ‘Isopda’. Check how it is spelt." in said("Isopda")
    for fine in ("armadillidium", "Armadillidiidae", "Araneae", ""):
        assert "Check how it is spelt" not in said(fine)
    send(keeper_client, "permit_new", PERMIT, taxa="Isopoda, Porcelio")
    assert "covered by ‘Porcelio’" in keeper_client.get(reverse("carriers:permits")).content.decode()


def test_before_somebody_is_removed_it_is_said_that_the_number_of_their_permit_stays(keeper_client: Client) -> None:
    one = build.person()
    address = reverse("people:remove", args=[one.pk])
    assert "permit" not in keeper_client.get(address).content.decode()
    book.permit(number="P-77", person=one)
    assert "stays in the book without the name" in keeper_client.get(address).content.decode()
    assert "PPQ 526 P-77" in keeper_client.get(address).content.decode()


def test_what_two_keepers_take_out_at_once_is_taken_out_once() -> None:
    load_example_rules()
    one = MovementRule.objects.first()
    again = MovementRule.objects.get(pk=one.pk)
    remove(one, by=None)
    with pytest.raises(ChangedMeanwhile, match="was removed from the book"):
        remove(again, by=None)
    assert LogRow.objects.filter(did="rule removed").count() == 1
