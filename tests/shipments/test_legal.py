"""A box that may not go there cannot be sent in any way; the weather verdict stays separate."""

from datetime import date, timedelta
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import NoReverseMatch, reverse

from breeder.base import form_tokens
from breeder.carriers.models import CarrierRule, MovementRule, Permit, Service
from breeder.core.thermal.verdict import LEAVING
from breeder.cultures.models import Entry
from breeder.people.models import Address
from breeder.shipments import run_check, urls
from breeder.shipments.actions import bench as packing
from breeder.shipments.actions import departure
from breeder.shipments.models import Check, Parcel
from breeder.shipments.queries import checks
from breeder.shipments.rules import departure_rules
from breeder.species.models import Line
from tests import build
from tests.carriers import book
from tests.shipments import boxes

pytestmark = pytest.mark.django_db
MILD = date(2013, 10, 7)
MORNING = boxes.morning_of(MILD)


@pytest.fixture(autouse=True)
def _few_members(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is tested here is never the odds."""
    monkeypatch.setattr(run_check, "MEMBERS", 16)


@pytest.fixture
def box(db: None) -> Parcel:
    """A box that was checked, may leave by its check, and goes to New Jersey."""
    boxes.household(region="US-NY")
    boxes.part(boxes.bare(), "Card box", on_shelf=9)
    boxes.service()
    line = build.line("Harbour", harvest_share=None)
    boxes.stocked(line, at=MORNING)
    boxes.real_hours(MILD, issued_at=MORNING - timedelta(hours=2))
    return checked(line)


def checked(line: Line) -> Parcel:
    order = boxes.order((line, 1), at=MORNING - timedelta(days=1))
    Address.objects.update(region="US-NJ")
    with time_machine.travel(MORNING, tick=False):
        made = packing.plan_parcel(order.number, by=None)
        departure.check_parcel(made.number, by=None)
    return Parcel.objects.get(pk=made.pk)


def send(box: Parcel, **how: Any) -> departure.Done:
    with time_machine.travel(MORNING, tick=False):
        return departure.send_parcel(box.number, {}, **({"by": None} | how))


def page_of(client: Client, box: Parcel) -> str:
    with time_machine.travel(MORNING, tick=False):
        return client.get(reverse("shipments:parcel", args=[box.number])).content.decode()


def stays(box: Parcel) -> bool:
    box.refresh_from_db()
    return box.status in ("waiting", "packed") and not Entry.objects.filter(reason=Entry.Reason.PACKED).exists()


def test_a_rule_that_came_after_the_check_keeps_the_box_here(box: Parcel) -> None:
    book.movement("forbidden", destination="US-NJ")
    with pytest.raises(departure_rules.LegalBlock) as refusal:
        send(box)
    assert refusal.value.messages == [
        "Armadillidium vulgare into New Jersey (US-NJ) is forbidden: 7 CFR 330.200, looked up on 5 January 2012.",
        "Nobody can send it against that; it is not the weather.",
    ]
    assert stays(box)
    MovementRule.objects.update(effect="allowed")
    send(box)
    assert not stays(box)


def test_no_reason_of_anybodys_overrides_it(box: Parcel, keeper: Any, helper: Any) -> None:
    book.movement("forbidden")
    for by in (keeper, helper, None):
        with pytest.raises(departure_rules.LegalBlock):
            send(box, by=by, override_reason="The customer has asked for it twice")
    assert stays(box)
    assert Check.objects.get().override_reason == ""


def test_a_box_against_the_weather_too_cannot_be_overridden_into_leaving(box: Parcel, keeper: Any) -> None:
    Check.objects.update(verdict=Check.Verdict.NO_GO)
    book.movement("forbidden")
    with pytest.raises(departure_rules.LegalBlock):
        send(box, by=keeper, override_reason="The customer has asked for it twice")
    assert stays(box)


def posts() -> list[str]:
    """Return the name of every address of the packing pages."""
    return sorted(str(each.name) for each in urls.urlpatterns if str(each.pattern).startswith("packing/"))


def test_no_page_sends_it_whatever_is_posted(box: Parcel, keeper_client: Client, helper_client: Client) -> None:
    """Every address of the packing pages is posted to, as keeper and as helper, with all that a form could hold."""
    book.movement("forbidden")
    item = box.items.get()
    kit, service = box.kit_id, box.service_id
    typed = {
        f"packed_{item.pk}": "12", "tracking": "1Z", "override_reason": "The customer has asked for it twice",
        "kit": kit, "service": service, "way": "doorstep", "post_on": MILD.isoformat(), "looked_up": "on",
        "choose": f"{box.number}:{MILD.isoformat()}:{kit}", "status": "sent",
    }  # fmt: skip
    names = [name for name in posts() if name not in ("unpack", "calendar")]
    assert {"send", "packed", "check", "board_choose"} <= set(names)
    with time_machine.travel(MORNING, tick=False):
        for client in (keeper_client, helper_client):
            for name in names:
                address = f"shipments:{name}"
                try:
                    target = reverse(address, args=[box.number])
                except NoReverseMatch:  # an address without a box's number
                    target = reverse(address)
                client.post(target, typed | {"token": form_tokens.new_token()})
                assert stays(box), name


def test_the_page_says_it_apart_from_the_verdict_and_offers_no_override(box: Parcel, keeper_client: Client) -> None:
    assert "Handed over</button>" in page_of(keeper_client, box)
    book.movement("forbidden")
    text = page_of(keeper_client, box)
    assert "It may not go there" in text
    assert "is forbidden: 7 CFR 330.200, looked up on 5 January 2012." in text
    assert 'class="pill go large"' in text
    assert "Handed over</button>" not in text
    assert "override_reason" not in text


def test_a_posted_send_is_refused_in_the_rules_own_words(box: Parcel, keeper_client: Client) -> None:
    book.movement("forbidden")
    with time_machine.travel(MORNING, tick=False):
        answer = keeper_client.post(
            reverse("shipments:send", args=[box.number]),
            {f"packed_{box.items.get().pk}": "12", "override_reason": "Because I say so"},
        )
    assert answer.status_code == 422
    assert "it is not the weather" in answer.content.decode()


def test_packing_is_a_fact_and_says_that_the_box_stays(box: Parcel) -> None:
    book.movement("forbidden")
    with time_machine.travel(MORNING, tick=False):
        done = departure.record_packed(box.number, {}, by=None)
    assert any("is forbidden" in sentence for sentence in done.sentences)
    box.refresh_from_db()
    assert box.status == Parcel.Status.PACKED
    with pytest.raises(departure_rules.LegalBlock):
        send(box)


def test_a_permit_must_count_on_the_day_of_posting(box: Parcel) -> None:
    book.movement("permit")
    permit = book.permit(valid_until=MILD - timedelta(days=1))
    with pytest.raises(departure_rules.LegalBlock, match="ran out on 6 October 2013"):
        send(box)
    Permit.objects.filter(pk=permit.pk).update(valid_until=MILD)
    send(box)
    assert not stays(box)


def test_what_the_tub_holds_counts_and_not_only_what_was_ordered(box: Parcel) -> None:
    book.movement("allowed", "Armadillidium vulgare")
    book.movement("forbidden", "Blattodea")
    roaches = build.species("Blaptica dubia", group="roach", family="Blaberidae", order_name="Blattodea")
    other = boxes.stocked(build.line("Plain", of=roaches, harvest_share=None), at=MORNING)
    box.items.update(culture=other)
    with pytest.raises(departure_rules.LegalBlock, match="Blaptica dubia into New Jersey"):
        send(box)


@pytest.mark.parametrize(
    ("terms", "why"),
    [
        ({"takes": "refuses"}, "does not take Armadillidium vulgare alive"),
        ({"season_from": "03-01", "season_until": "09-30"}, "only from 1 March to 30 September"),
        ({"most_days": 3}, "only where 3 working days are enough, and it is planned for 4"),
    ],
)
def test_what_the_carrier_does_not_take_stays(box: Parcel, keeper: Any, terms: dict[str, Any], why: str) -> None:
    book.carrier(**terms)
    with pytest.raises(departure_rules.LegalBlock, match=why):
        send(box, by=keeper, override_reason="They will not notice")
    assert stays(box)
    CarrierRule.objects.update(verified=False, checked_on=None, recheck_on=None)
    send(box)
    assert not stays(box)


def test_another_service_may_take_it(box: Parcel) -> None:
    book.carrier("refuses", service=Service.objects.get())
    with pytest.raises(departure_rules.LegalBlock):
        send(box)
    other = boxes.service("overnight", usual_days=1, least_days=1, latest_days=2)
    with time_machine.travel(MORNING, tick=False):
        packing.choose_way(box.number, other.pk, "doorstep", by=None)
        departure.check_parcel(box.number, by=None)
    send(box)
    assert not stays(box)


def test_nothing_on_record_warns_and_does_not_hold_it_up(box: Parcel, keeper_client: Client) -> None:
    assert "Nothing is on record for Armadillidium vulgare into New Jersey (US-NJ)." in page_of(keeper_client, box)
    send(box)
    assert not stays(box)


def test_the_list_says_it_first_and_the_board_gives_no_day(box: Parcel, keeper_client: Client) -> None:
    book.movement("forbidden")
    with time_machine.travel(MORNING, tick=False):
        listed = keeper_client.get(reverse("shipments:list")).content.decode()
        board = keeper_client.get(reverse("shipments:board")).content.decode()
    assert "may not go there" in listed
    assert "is forbidden: 7 CFR 330.200" in listed
    assert 'class="blocked"' in board
    assert 'class="board-day' not in board


def test_the_board_leaves_out_the_days_on_which_a_permit_no_longer_counts(box: Parcel, keeper_client: Client) -> None:
    book.movement("permit")
    book.permit(valid_until=MILD + timedelta(days=2))

    def days() -> int:
        with time_machine.travel(MORNING, tick=False):
            return keeper_client.get(reverse("shipments:board")).content.decode().count('class="board-day')

    few = days()
    Permit.objects.update(valid_until=MILD + timedelta(days=90))
    assert 0 < few < days()


def test_rules_cost_the_lists_no_query_a_box_or_a_rule(box: Parcel, keeper_client: Client) -> None:
    line = box.items.get().order_line.offer.line

    def queried(name: str) -> int:
        with time_machine.travel(MORNING, tick=False), CaptureQueriesContext(connection) as seen:
            keeper_client.get(reverse(name))
        return len(seen)

    book.movement("allowed")
    book.carrier()
    pages = ("shipments:list", "shipments:board")
    _ = [queried(name) for name in pages]
    few = [queried(name) for name in pages]
    for number in range(9):
        checked(line) if number < 4 else None
        book.movement("forbidden", f"Genus{number}")
        book.carrier("refuses", f"Genus{number}")
        book.permit(number=f"P-{number}")
    assert [queried(name) for name in pages] == few


def test_how_a_box_stands_keeps_the_weathers_verdict(box: Parcel) -> None:
    book.movement("forbidden")
    with time_machine.travel(MORNING, tick=False):
        standing = checks.waiting()[0]
    assert standing.verdict in LEAVING
    assert standing.leave.is_free
    assert not standing.may_leave


def test_a_no_go_proposes_no_day_and_no_service_that_is_blocked() -> None:
    """The same days as for the weather alone: cold from 1 April 2013 on, mild a week later (recorded hours)."""
    start = date(2013, 4, 1)
    boxes.household(region="US-NY")
    boxes.bare()
    two_day = boxes.service()
    overnight = boxes.service("overnight", usual_days=1, least_days=1, latest_days=2)
    number = boxes.parcel(start, service=two_day).number
    now = boxes.morning_of(start)
    boxes.real_hours(start, issued_at=now - timedelta(hours=2), days=16, shift_c=-3.0)

    def proposed() -> tuple[str, list[str]]:
        with time_machine.travel(now, tick=False):
            result = departure.check_parcel(number, by=None).result
        return (result["next_day"] or {"on": ""})["on"], [offer["what"] for offer in result["helps"]]

    on, helps = proposed()
    assert on
    assert any("overnight" in what for what in helps)
    book.carrier("refuses", service=overnight)
    book.carrier(
        service=two_day, season_from="01-01", season_until=f"{date.fromisoformat(on) - timedelta(days=1):%m-%d}"
    )
    assert proposed() == ("", [what for what in helps if "overnight" not in what])
