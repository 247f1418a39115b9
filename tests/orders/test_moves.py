"""Whether it may go there is asked when an order is taken and changed; nothing on record is never a silent yes."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from breeder.base.models import LogRow
from breeder.carriers.models import MovementRule, Permit
from breeder.cultures.models import Promise
from breeder.orders import actions
from breeder.orders.models import Offer, Order
from breeder.orders.movement_block import MayNotGo, NotLookedUp
from breeder.orders.rules.order_status import Who
from breeder.orders.rules.packs import Wanted
from breeder.people.models import Person
from breeder.people.rules import destination
from tests import build
from tests.carriers import book
from tests.orders.stand import counted_line, free, pack, terms
from tests.orders.test_pages import form_of
from tests.shipments.boxes import service

pytestmark = pytest.mark.django_db
TO_NEW_JERSEY = "Ada Marsh\n1 Fern Lane\nTrenton NJ 08608"
TO_FLORIDA = "Ada Marsh\n1 Fern Lane\nMiami FL 33101"


@pytest.fixture
def starter(db: None) -> Offer:
    return pack(counted_line("Harbour", 60))


def agree(starter: Offer, block: str = TO_NEW_JERSEY, packs: int = 1) -> Order:
    wanted = [Wanted(offer_id=starter.pk, packs=packs)]
    return actions.agree_order(Who(new_name="Ada Marsh"), wanted, terms(to=destination(block)), by=None)


def test_a_forbidden_order_is_refused_whole_with_citation_and_date(starter: Offer) -> None:
    book.movement("forbidden", destination="US-NJ", citation="N.J.A.C. 1:1 (invented)")
    with pytest.raises(MayNotGo) as refusal:
        agree(starter)
    assert refusal.value.messages == [
        "Armadillidium vulgare into New Jersey (US-NJ) is forbidden: N.J.A.C. 1:1 (invented), looked up on "
        "5 January 2012.",
        "Leave it out, or send it elsewhere; nobody can agree it against that.",
    ]
    assert not Order.objects.exists()
    assert not Promise.objects.exists()
    assert not Person.objects.exists()
    assert free(starter.line) == 60


def test_the_keeper_who_says_they_looked_it_up_cannot_agree_against_a_rule(
    keeper_client: Client, starter: Offer
) -> None:
    book.movement("forbidden")
    answer = keeper_client.post(reverse("orders:new"), form_of(starter, 1))
    assert answer.status_code == 422
    assert "is forbidden: 7 CFR 330.200, looked up on 5 January 2012." in answer.content.decode()
    assert not Order.objects.exists()


def test_nothing_on_record_is_asked_and_the_answer_is_kept(keeper_client: Client, starter: Offer) -> None:
    answer = keeper_client.post(reverse("orders:new"), form_of(starter, 1, looked_up=""))
    said = answer.content.decode()
    assert answer.status_code == 422
    assert "Nothing is on record for Armadillidium vulgare into New Jersey (US-NJ)." in said
    assert 'name="looked_up"' in said
    assert "1 Fern Lane" in said
    assert not Order.objects.exists()
    assert keeper_client.post(reverse("orders:new"), form_of(starter, 1)).status_code == 302
    facts = LogRow.objects.get(did="agreed an order").facts
    assert facts["left to the keeper"] == ["Nothing is on record for Armadillidium vulgare into New Jersey (US-NJ)."]


def test_what_the_keeper_looked_up_is_not_asked_again(keeper_client: Client, starter: Offer) -> None:
    book.movement("allowed")
    assert keeper_client.post(reverse("orders:new"), form_of(starter, 1, looked_up="")).status_code == 302
    assert "allowed: 7 CFR 330.200" in LogRow.objects.get(did="agreed an order").facts["on record"][0]


def test_an_example_is_asked_about_and_never_refuses(keeper_client: Client, starter: Offer) -> None:
    book.movement("forbidden", **book.EXAMPLE)
    said = keeper_client.post(reverse("orders:new"), form_of(starter, 1, looked_up="")).content.decode()
    assert "An unverified example says that Isopoda into the United States (US) is forbidden" in said
    assert agree(starter).number == 1


def test_a_permit_in_scope_lets_it_go_and_one_that_ran_out_does_not(starter: Offer) -> None:
    book.movement("permit", permit_kind="PPQ 526")
    with pytest.raises(MayNotGo, match="None is in the book"):
        agree(starter)
    book.permit()
    assert agree(starter).number == 1
    Permit.objects.update(valid_until=timezone.localdate() - timedelta(days=1))
    with pytest.raises(MayNotGo, match="ran out on"):
        agree(starter)


def test_a_customers_permit_counts_for_that_customer_alone(starter: Offer) -> None:
    book.movement("permit")
    ada, bo = build.person("Ada Marsh"), build.person("Bo Reed")
    for person in (ada, bo):
        build.address(person, region="US-NJ")
    book.permit(person=bo, direction=Permit.Direction.RECEIVE)
    wanted = [Wanted(offer_id=starter.pk, packs=1)]
    assert actions.agree_order(Who(person_id=bo.pk), wanted, terms(), by=None).person == bo
    with pytest.raises(MayNotGo, match="is held by someone else"):
        actions.agree_order(Who(person_id=ada.pk), wanted, terms(), by=None)


def test_an_order_that_is_fetched_is_not_asked_about(starter: Offer) -> None:
    book.movement("forbidden")
    wanted = [Wanted(offer_id=starter.pk, packs=1)]
    assert actions.agree_order(Who(new_name="Ada Marsh"), wanted, terms(), by=None).address is None


def test_a_change_that_promises_more_or_goes_elsewhere_is_asked_again(starter: Offer) -> None:
    order = agree(starter, packs=2)
    line = order.lines.get()
    book.movement("forbidden", destination="US-FL")

    def change(packs: int, to: str = "") -> Order:
        asked = terms(to=destination(to)) if to else terms()
        return actions.change_order(
            order.number, actions.Change(asked, {line.pk: actions.LineChange(packs, None)}), by=None
        )

    with pytest.raises(MayNotGo):
        change(2, TO_FLORIDA)
    assert Order.objects.get().address.region == "US-NJ"
    assert change(3).lines.get().packs == 3
    book.movement("forbidden", destination="US-NJ")
    with pytest.raises(MayNotGo):
        change(4)
    assert Order.objects.get().lines.get().packs == 3
    change(1)
    assert Order.objects.get().lines.get().packs == 1


def test_a_change_asks_only_what_is_new(keeper_client: Client, starter: Offer) -> None:
    order = agree(starter)
    line, day = order.lines.get(), timezone.localdate() + timedelta(days=3)
    typed = {f"line-{line.pk}-packs": "2", "held_until": day.isoformat(), "change": "1"}
    page = reverse("orders:change", args=[order.number])
    assert keeper_client.post(page, typed).status_code == 302
    answer = keeper_client.post(page, typed | {"address_block": TO_FLORIDA})
    assert answer.status_code == 422
    assert "into Florida (US-FL)" in answer.content.decode()


def test_a_hold_that_ran_out_is_not_taken_up_against_a_rule(starter: Offer) -> None:
    order = agree(starter)
    Order.objects.update(held_until=timezone.now() - timedelta(hours=1))
    book.movement("forbidden")
    with pytest.raises(MayNotGo):
        actions.hold_again(order.number, timezone.now() + timedelta(days=1), by=None)


def test_an_order_that_no_service_takes_is_refused_and_one_service_is_enough(starter: Offer) -> None:
    two_day = service()
    book.carrier("refuses", service=two_day)
    with pytest.raises(MayNotGo, match="Post two-day does not take Armadillidium vulgare alive"):
        agree(starter)
    service("overnight")
    assert agree(starter).number == 1


def test_the_order_page_says_what_is_on_record(keeper_client: Client, starter: Offer) -> None:
    order = agree(starter)
    book.movement("forbidden")
    said = keeper_client.get(reverse("orders:order", args=[order.number])).content.decode()
    assert "It may not go there" in said
    assert "7 CFR 330.200" in said
    MovementRule.objects.update(effect="allowed")
    assert "It may not go there" not in keeper_client.get(reverse("orders:order", args=[order.number])).content.decode()


def test_many_rules_cost_an_order_no_query_more(keeper_client: Client, starter: Offer) -> None:
    order = agree(starter)
    book.movement("allowed")

    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as seen:
            keeper_client.get(reverse("orders:order", args=[order.number]))
        return len(seen)

    queries()
    few = queries()
    for number in range(50):
        book.movement("forbidden", f"Genus{number}")
        book.permit(number=f"P-{number + 2}")
    assert queries() == few


def test_a_refusal_is_a_validation_error_like_every_other() -> None:
    assert issubclass(MayNotGo, ValidationError)


def test_a_permit_that_runs_out_before_the_promised_day_is_asked_about(starter: Offer) -> None:
    today = timezone.localdate()
    book.movement("permit")
    book.permit(valid_until=today + timedelta(days=10))
    wanted = [Wanted(offer_id=starter.pk, packs=1)]
    ada = build.address(build.person("Ada Marsh"), region="US-NJ").person
    for days, asked in ((9, False), (10, False), (11, True)):
        promised = terms(promised_by=today + timedelta(days=days), looked_up=False)
        if asked:
            with pytest.raises(NotLookedUp, match="PPQ 526 P-1 of USDA APHIS runs out on"):
                actions.agree_order(Who(person_id=ada.pk), wanted, promised, by=None)
        else:
            actions.agree_order(Who(person_id=ada.pk), wanted, promised, by=None)
