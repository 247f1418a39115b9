"""A box leaves only with a fresh check of its current inputs on fresh hours."""

from datetime import date, datetime, time, timedelta
from typing import Any

import pytest
import time_machine
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from breeder.base.models import LogRow, Setting
from breeder.carriers.models import Closure, Service
from breeder.orders import actions as orders
from breeder.orders.models import Order
from breeder.people.models import Address
from breeder.shipments import run_check
from breeder.shipments.actions import bench as packing
from breeder.shipments.actions import departure
from breeder.shipments.models import Check, Kit, Parcel
from breeder.shipments.queries import checks
from breeder.shipments.rules import departure_rules
from breeder.shipments.rules.box_rules import ItemChange
from tests import build
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
    """A box with a Go, at seven in the morning of a mild Monday."""
    boxes.household()
    boxes.bare()
    boxes.kit()
    line = build.line("Harbour")
    boxes.stocked(line, at=MORNING)
    made = boxes.parcel(MILD, of=boxes.order((line, 1), at=MORNING - timedelta(days=3)))
    boxes.real_hours(MILD, issued_at=MORNING - timedelta(hours=2))
    at(MORNING, departure.check_parcel, made.number, by=None)
    return Parcel.objects.get(pk=made.pk)


def at(now: datetime, do: Any, *args: Any, **how: Any) -> Any:
    with time_machine.travel(now, tick=False):
        return do(*args, **how)


def send(box: Parcel, now: datetime = MORNING, by: Any = None, **how: Any) -> departure.Done:
    return at(now, departure.send_parcel, box.number, how.pop("packed", {}), by=by, **how)


def stays(box: Parcel, now: datetime = MORNING) -> str:
    with pytest.raises(departure_rules.MayNotLeave) as refused:
        send(box, now)
    assert Parcel.objects.get(pk=box.pk).status == Parcel.Status.WAITING
    return " ".join(refused.value.sentences)


def test_a_go_leaves(box: Parcel) -> None:
    send(box, tracking="T 1")
    sent = Parcel.objects.get(pk=box.pk)
    assert (sent.status, sent.tracking, sent.sent_at) == (Parcel.Status.SENT, "T 1", MORNING)


def test_another_kit_makes_it_stay_until_checked_again(box: Parcel) -> None:
    other = Kit.objects.get(name="Foam 19 mm")
    at(MORNING, packing.choose_kit, box.number, other.pk, by=None)
    assert "the kit changed" in stays(box)
    at(MORNING, departure.check_parcel, box.number, by=None)
    assert send(box).parcel.kit == other


def test_a_kit_that_is_rebuilt_under_the_same_name_makes_it_stay(box: Parcel) -> None:
    Kit.objects.filter(pk=box.kit_id).update(layers=[{"material": "corrugated", "mm": 3}])
    assert "the kit changed" in stays(box)


def test_another_address_makes_it_stay(box: Parcel) -> None:
    Address.objects.update(latitude="44.50")
    assert "the address changed" in stays(box)


def test_another_day_makes_it_stay(box: Parcel) -> None:
    at(MORNING, packing.choose_day, box.number, MILD + timedelta(days=1), by=None)
    assert "the day changed" in stays(box)


def test_other_contents_make_it_stay(box: Parcel) -> None:
    item = box.items.get()
    at(MORNING, packing.change_contents, box.number, {item.pk: ItemChange(11, item.culture_id, 2)}, by=None)
    assert "the contents changed" in stays(box)


def test_another_way_and_another_service_make_it_stay(box: Parcel) -> None:
    overnight = boxes.service("overnight", least_days=1, usual_days=1, latest_days=2)
    at(MORNING, packing.choose_way, box.number, overnight.pk, "counter", by=None)
    assert "the service and where it is delivered changed" in stays(box)


@pytest.mark.parametrize(
    "known",
    [{"network": "trailers"}, {"doorstep": "shade"}, {"hub_c": "15"}, {"van_hours": "2"}, {"truck_at": "18:00"}],
)
def test_what_was_learnt_of_the_services_way_makes_it_stay(box: Parcel, known: dict[str, str]) -> None:
    Service.objects.update(**known)
    assert "the service changed" in stays(box)


@pytest.mark.parametrize("days", [0, 1, 4])
def test_a_closure_on_its_way_makes_it_stay(box: Parcel, days: int) -> None:
    Closure.objects.create(carrier="Post", on=MILD + timedelta(days=days), name="Storm")
    assert "its carrier's closures changed" in stays(box)
    with time_machine.travel(MORNING, tick=False):
        assert checks.waiting()[0].verdict == Check.Verdict.NOT_DECIDED


@pytest.mark.parametrize(("carrier", "days"), [("Other", 0), ("Post", -1), ("Post", 5)])
def test_a_closure_elsewhere_changes_nothing(box: Parcel, carrier: str, days: int) -> None:
    Closure.objects.create(carrier=carrier, on=MILD + timedelta(days=days), name="Storm")
    send(box)
    assert Parcel.objects.get(pk=box.pk).status == Parcel.Status.SENT


def test_a_day_on_which_its_carrier_is_closed_is_not_checked(box: Parcel) -> None:
    Closure.objects.create(carrier="Post", on=MILD, name="Storm")
    with pytest.raises(
        departure_rules.DepartureRefused, match=r"Post two-day takes no box on Monday 7 October \(the carrier is"
    ):
        at(MORNING, departure.check_parcel, box.number, by=None)


def test_narrower_limits_and_stricter_odds_make_it_stay(box: Parcel) -> None:
    species = box.items.get().order_line.offer.line.species
    species.comfort_low_c = 10
    species.save()
    Setting.objects.update(hard_tolerance="0.01")
    assert "what the animals bear and the odds you allow changed" in stays(box)


def test_a_change_back_speaks_for_the_box_again(box: Parcel) -> None:
    Setting.objects.update(hard_tolerance="0.01")
    stays(box)
    Setting.objects.update(hard_tolerance="0.050")
    assert send(box).parcel.status == Parcel.Status.SENT


def test_after_six_hours_a_check_is_asked_for_again(box: Parcel) -> None:
    assert "6 hours old" in stays(box, MORNING + timedelta(hours=6))
    assert send(box, MORNING + timedelta(hours=5, minutes=59)).parcel.status == Parcel.Status.SENT


def test_on_hours_issued_a_day_ago_nothing_leaves(box: Parcel) -> None:
    later = MORNING + timedelta(hours=22)
    at(later - timedelta(minutes=1), packing.choose_day, box.number, MILD + timedelta(days=1), by=None)
    check = at(later - timedelta(minutes=1), departure.check_parcel, box.number, by=None)
    assert check.verdict == Check.Verdict.GO
    said = stays(box, later)
    assert "issued 24 hours ago" in said
    assert "old and was good" not in said


def test_a_box_that_was_never_checked_stays() -> None:
    boxes.household()
    kit = boxes.bare()
    assert "never checked" in stays(boxes.parcel(MILD, kit=kit))


def test_a_box_of_a_cancelled_order_stays_but_for_the_keepers_reason(
    box: Parcel, keeper: User, keeper_client: Client
) -> None:
    at(MORNING, orders.cancel_order, box.order.number, "Changed their mind.", by=keeper)
    said = f"Order {box.order.number} was cancelled, so nobody waits for this box. Take it apart."
    assert stays(box) == said
    with time_machine.travel(MORNING, tick=False):
        for page in (
            reverse("shipments:list"),
            reverse("shipments:parcel", args=[box.number]),
            reverse("shipments:board"),
        ):
            assert said in keeper_client.get(page).content.decode()
    # What happened is never refused: the box may have left before its order was cancelled.
    send(box, by=keeper, override_reason="It had left already.")


def test_a_box_whose_hold_ran_out_stays_until_it_is_held_again(box: Parcel, keeper: User) -> None:
    Order.objects.update(status=Order.Status.HELD, paid_at=None, held_until=MORNING - timedelta(hours=1))
    assert "ran out unpaid, so its animals are promised to nobody. Hold the order again" in stays(box)
    at(MORNING, orders.hold_again, box.order.number, MORNING + timedelta(days=2), by=keeper)
    send(box, by=keeper)
    assert Parcel.objects.get(pk=box.pk).status == Parcel.Status.SENT


def test_a_past_day_makes_it_stay(box: Parcel) -> None:
    leave = departure_rules.may_leave(box.checks.get(), box.checks.get().inputs, MORNING, MILD + timedelta(days=1))
    assert leave.others == ("The day it was to be handed over is past. Choose a new day and check again.",)


@pytest.fixture
def cold_box(db: None) -> Parcel:
    boxes.household()
    boxes.bare()
    boxes.service("two-day", cut_off=time(16))
    made = boxes.parcel(date(2013, 2, 4))
    boxes.real_hours(date(2013, 2, 4), issued_at=boxes.morning_of(date(2013, 2, 4)) - timedelta(hours=2))
    at(boxes.morning_of(date(2013, 2, 4)), departure.check_parcel, made.number, by=None)
    made.kit = Kit.objects.get()
    made.save()
    at(boxes.morning_of(date(2013, 2, 4)), departure.check_parcel, made.number, by=None)
    return made


def test_a_no_go_stays_and_says_why(cold_box: Parcel) -> None:
    assert "The check says No-go" in stays(cold_box, boxes.morning_of(date(2013, 2, 4)))


def test_the_keeper_may_send_against_the_weather_with_a_written_reason(cold_box: Parcel, keeper: User) -> None:
    now = boxes.morning_of(date(2013, 2, 4))
    send(cold_box, now, keeper, override_reason="Collected by hand at the depot, in a heated car.")
    check = Check.objects.filter(parcel=cold_box).first()
    assert check is not None
    assert check.override_reason.startswith("Collected by hand")
    row = LogRow.objects.get(did="sent against the check")
    assert row.by == keeper
    assert row.reason == check.override_reason


def test_a_helper_may_not_and_a_word_is_no_reason(cold_box: Parcel, helper: User, keeper: User) -> None:
    now = boxes.morning_of(date(2013, 2, 4))
    for by, reason in ((helper, "It will be quite all right."), (keeper, "fine")):
        with pytest.raises(departure_rules.DepartureRefused):
            send(cold_box, now, by, override_reason=reason)
    assert Parcel.objects.get(pk=cold_box.pk).status == Parcel.Status.WAITING


def test_nobody_overrides_dry_ice(cold_box: Parcel, keeper: User) -> None:
    now = boxes.morning_of(date(2013, 2, 4))
    for change in ({"note": "0.5 kg dry ice"}, {"note": "", "packs": [{"kind": "dry_ice", "kg": 0.5}]}):
        Kit.objects.update(**change)
        with pytest.raises(ValidationError, match="Dry ice never goes into a box"):
            send(cold_box, now, keeper, override_reason="The buyer asked for it in writing.")
        with pytest.raises(ValidationError, match="Dry ice never goes into a box"):
            at(now, departure.check_parcel, cold_box.number, by=keeper)
    assert Parcel.objects.get(pk=cold_box.pk).status == Parcel.Status.WAITING


def test_a_box_changed_while_it_is_checked_keeps_no_check(box: Parcel, monkeypatch: Any) -> None:
    before = box.checks.count()
    plain = run_check.check

    def slow(parcel: Parcel, *args: Any) -> Any:
        found = plain(parcel, *args)
        Parcel.objects.filter(pk=parcel.pk).update(way=Parcel.Way.COUNTER)
        return found

    monkeypatch.setattr(run_check, "check", slow)
    with pytest.raises(departure_rules.DepartureRefused, match="changed while it was being checked"):
        at(MORNING, departure.check_parcel, box.number, by=None)
    assert box.checks.count() == before


def test_a_kit_rebuilt_while_a_box_is_checked_without_one_keeps_no_check(box: Parcel, monkeypatch: Any) -> None:
    Parcel.objects.update(kit=None)
    before = box.checks.count()
    plain = run_check.check

    def slow(*args: Any) -> Any:
        found = plain(*args)
        Kit.objects.filter(pk=found.chosen.candidate.kit_id).update(inner_m=[0.5, 0.4, 0.3])
        return found

    monkeypatch.setattr(run_check, "check", slow)
    with pytest.raises(departure_rules.DepartureRefused, match="changed while it was being checked"):
        at(MORNING, departure.check_parcel, box.number, by=None)
    assert box.checks.count() == before
    assert Parcel.objects.get().kit is None


def test_what_is_lacking_is_said_all_at_once(db: None) -> None:
    Setting.objects.create(pk=1)
    box = boxes.parcel(MILD)
    Parcel.objects.update(service=None, post_on=None)
    with pytest.raises(departure_rules.DepartureRefused) as refused:
        departure.check_parcel(box.number, by=None)
    said = refused.value.messages[0]
    assert all(word in said for word in ("no service", "no day", "your own place", "no kit is written down"))


def test_species_that_cannot_share_a_box_need_two() -> None:
    cool = build.species("Oniscus asellus", comfort_low_c=4, comfort_high_c=18)
    warm = build.species("Cubaris murina", comfort_low_c=20, comfort_high_c=30, hard_low_c=8)
    with pytest.raises(departure_rules.DepartureRefused, match="cannot share a box"):
        departure_rules.box_limits([cool, warm])
    temperate = build.species("Porcellio scaber")
    both = departure_rules.box_limits([temperate, warm])
    assert (both.low_c, both.high_c, both.hard_low_c, both.hard_high_c) == (20, 29, 8, 36)


def test_a_check_that_did_not_ask_for_something_yet_does_not_say_that_it_changed() -> None:
    assert departure_rules.changed_inputs({"kit": 1}, {"kit": 1, "closures": ["2013-10-14"]}) == []
    assert departure_rules.changed_inputs({"kit": 1, "closures": []}, {"kit": 1, "closures": ["2013-10-14"]}) == [
        "its carrier's closures"
    ]
