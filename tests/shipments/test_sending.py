"""Sending takes what was packed out of the tubs and the promises; unpacking puts it into quarantine."""

from datetime import date, timedelta
from typing import Any

import pytest
import time_machine

from breeder.base.action_frame import Sent
from breeder.base.form_tokens import AlreadyDone
from breeder.cultures.models import Culture, Entry, Promise
from breeder.cultures.queries.stock import stock_of
from breeder.orders.models import Offer, Order
from breeder.shipments import box_page, run_check
from breeder.shipments.actions import bench as packing
from breeder.shipments.actions import departure
from breeder.shipments.models import Kit, Parcel, Supply
from breeder.shipments.rules import departure_rules
from breeder.shipments.rules.box_rules import BoxRefused, ItemChange
from breeder.species.models import Line
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
def line(db: None) -> Line:
    boxes.household()
    boxes.part(boxes.bare(), "Card box", on_shelf=3)
    boxes.service()
    made = build.line("Harbour", harvest_share=None)
    boxes.stocked(made, at=MORNING)
    boxes.real_hours(MILD, issued_at=MORNING - timedelta(hours=2))
    return made


def checked_box(line: Line, packs: int = 1) -> Parcel:
    order = boxes.order((line, packs), at=MORNING - timedelta(days=1))
    with time_machine.travel(MORNING, tick=False):
        box = packing.plan_parcel(order.number, by=None)
        departure.check_parcel(box.number, by=None)
    return Parcel.objects.get(pk=box.pk)


def send(box: Parcel, packed: int | None = None, **how: Any) -> departure.Done:
    given = {} if packed is None else {box.items.get().pk: packed}
    with time_machine.travel(MORNING, tick=False):
        return departure.send_parcel(box.number, given, **({"by": None} | how))


def free(line: Line) -> int:
    with time_machine.travel(MORNING, tick=False):
        return stock_of(line.pk).free("young")


def test_packing_what_was_promised_leaves_what_is_free_as_it_was(line: Line) -> None:
    before = free(line)
    box = checked_box(line)
    assert free(line) == before - 12
    done = send(box)
    assert free(line) == before - 12
    assert done.sentences == ("2 of Card box are left; order more below 5.",)
    entry = Entry.objects.get(reason=Entry.Reason.PACKED)
    assert (entry.number, entry.stage) == (-12, "young")
    promise = Promise.objects.get()
    assert promise.state == Promise.State.PACKED
    assert box.order.__class__.objects.get().status == Order.Status.SENT


def test_fourteen_instead_of_twelve_is_recorded_and_said(line: Line) -> None:
    before = free(line)
    done = send(checked_box(line), packed=14)
    assert "14 of Armadillidium vulgare ‘Harbour’ went in, 12 were planned." in done.sentences
    assert Entry.objects.get(reason=Entry.Reason.PACKED).number == -14
    assert free(line) == before - 14


def test_the_overcount_that_did_not_go_is_free_again(line: Line) -> None:
    before = free(line)
    send(checked_box(line), packed=10)
    assert Promise.objects.get().state == Promise.State.PACKED
    assert free(line) == before - 10
    assert Order.objects.get().status == Order.Status.SENT


def test_agreed_animals_that_did_not_go_stay_promised_and_the_order_open(line: Line) -> None:
    done = send(checked_box(line), packed=7)
    assert any("3 of the 10 agreed" in sentence for sentence in done.sentences)
    promise = Promise.objects.get()
    assert (promise.state, promise.number) == (Promise.State.HELD, 5)
    order = Order.objects.get()
    assert order.status == Order.Status.PAID
    with time_machine.travel(MORNING, tick=False):
        second = packing.plan_parcel(order.number, by=None)
    assert second.items.get().planned == 5


def test_what_went_out_of_no_named_tub_is_not_planned_a_second_time(line: Line) -> None:
    box = checked_box(line)
    box.items.update(culture=None)
    send(box, packed=7)
    promise = Promise.objects.get()
    assert (promise.state, promise.number) == (Promise.State.HELD, 5)
    with time_machine.travel(MORNING, tick=False):
        second = packing.plan_parcel(box.order.number, by=None)
    assert second.items.get().planned == 5


def test_supplies_go_down_by_one_box_and_a_shortage_is_said(line: Line) -> None:
    Supply.objects.update(order_below=0)
    box = checked_box(line)
    Supply.objects.update(on_shelf=0)
    done = send(box)
    assert any("The shelf held 0 of Card box, and this box used 1" in sentence for sentence in done.sentences)
    assert Supply.objects.get().on_shelf == 0


def test_of_one_animal_and_one_supply_is_spoken_as_of_one(line: Line) -> None:
    Supply.objects.update(on_shelf=2)
    box = checked_box(line)
    said = " ".join(send(box, packed=9).sentences)
    assert "1 of Card box is left; order more below 5." in said
    assert f"1 of the 10 agreed of {line} is still owed and promised." in said
    box.items.update(planned=1)
    assert departure_rules.packed_difference_texts(box.items.all())[0].endswith("went in, 1 was planned.")
    assert box_page.lede_text(box).startswith("1 cup, 9 young.")
    box.items.update(packed=1)
    Offer.objects.update(stage="adults")
    assert box_page.lede_text(Parcel.objects.get(pk=box.pk)).startswith("1 cup, 1 adult.")


def test_what_sending_breaks_is_said(line: Line) -> None:
    box = checked_box(line)
    Line.objects.update(young_kept=95)
    done = send(box, packed=30)
    assert any("below its minimum" in sentence for sentence in done.sentences)


def test_leaving_on_another_day_needs_a_reason_and_is_said(line: Line, keeper: Any) -> None:
    box = checked_box(line)
    with time_machine.travel(MORNING, tick=False):
        packing.choose_day(box.number, MILD + timedelta(days=1), by=None)
        departure.check_parcel(box.number, by=None)
    with pytest.raises(
        departure_rules.MayNotLeave, match="checked for Tuesday 8 October, and today is Monday 7 October"
    ):
        send(box)
    left = send(box, by=keeper, override_reason="The courier comes today")
    assert "It was checked for Tuesday 8 October and was sent on Monday 7 October" in left.sentences[0]


def test_a_box_is_sent_once(line: Line) -> None:
    box = checked_box(line)
    send(box, sent=Sent("a"))
    with pytest.raises(AlreadyDone):
        send(box, sent=Sent("a"))
    with pytest.raises(BoxRefused, match="is sent"):
        send(box, sent=Sent("b"))
    assert Entry.objects.filter(reason=Entry.Reason.PACKED).count() == 1
    assert Supply.objects.get().on_shelf == 2


def test_two_items_of_one_promise_take_it_down_together(line: Line) -> None:
    other = boxes.stocked(line, young=30, at=MORNING)
    box = checked_box(line, packs=2)
    item = box.items.get()
    item.planned = 14
    item.save()
    box.items.create(order_line=item.order_line, culture=other, planned=10, cups=0)
    with time_machine.travel(MORNING, tick=False):
        departure.check_parcel(box.number, by=None)
        departure.send_parcel(box.number, {}, by=None)
    assert Promise.objects.get().state == Promise.State.PACKED
    assert sorted(Entry.objects.filter(reason=Entry.Reason.PACKED).values_list("number", flat=True)) == [-14, -10]


def test_an_order_in_two_boxes_is_sent_with_the_second(line: Line) -> None:
    second_line = build.line("Chalk", harvest_share=None)
    boxes.stocked(second_line, at=MORNING)
    order = boxes.order((line, 1), (second_line, 1), at=MORNING - timedelta(days=1))
    with time_machine.travel(MORNING, tick=False):
        first = packing.plan_parcel(order.number, by=None)
        moved = first.items.last()
        packing.change_contents(first.number, {moved.pk: ItemChange(0, None, 0)}, by=None)
        second = packing.plan_parcel(order.number, by=None)
        for box in (first, second):
            departure.check_parcel(box.number, by=None)
        departure.send_parcel(first.number, {}, by=None)
        assert Order.objects.get().status == Order.Status.PAID
        departure.send_parcel(second.number, {}, by=None)
    assert Order.objects.get().status == Order.Status.SENT


def test_an_order_whose_last_box_is_taken_apart_and_given_back_is_sent_with_what_left(line: Line) -> None:
    other = build.line("Chalk", harvest_share=None)
    boxes.stocked(other, at=MORNING)
    order = boxes.order((line, 1), (other, 1), at=MORNING - timedelta(days=1))
    with time_machine.travel(MORNING, tick=False):
        first = packing.plan_parcel(order.number, by=None)
        out, stays = first.items.all()
        changes = {out.pk: ItemChange(0, None, 0), stays.pk: ItemChange(12, stays.culture_id, 1)}
        packing.change_contents(first.number, changes, by=None)
        second = packing.plan_parcel(order.number, by=None)
        departure.check_parcel(first.number, by=None)
        departure.send_parcel(first.number, {}, by=None)
        departure.unpack_parcel(second.number, release=True, by=None)
    assert Order.objects.get().status == Order.Status.SENT


def test_packed_numbers_are_written_down_before_it_leaves(line: Line) -> None:
    box = checked_box(line)
    with time_machine.travel(MORNING, tick=False):
        departure.record_packed(box.number, {box.items.get().pk: 13}, by=None)
    box.refresh_from_db()
    assert box.status == Parcel.Status.PACKED
    assert not Entry.objects.filter(reason=Entry.Reason.PACKED).exists()
    send(box)
    assert Entry.objects.get(reason=Entry.Reason.PACKED).number == -13


@pytest.mark.parametrize("release", [True, False])
def test_unpacking_a_packed_box_brings_its_animals_into_quarantine(line: Line, release: bool) -> None:
    source = Culture.objects.get()
    box = checked_box(line)
    with time_machine.travel(MORNING, tick=False):
        departure.record_packed(box.number, {}, by=None)
        done = departure.unpack_parcel(box.number, release=release, by=None)
    quarantine = Culture.objects.get(purpose=Culture.Purpose.QUARANTINE)
    assert quarantine.line == line
    assert quarantine.quarantine_until == MILD + timedelta(days=14)
    assert f"12 of {line} are in quarantine tub {quarantine.number} until 21 October." in done.sentences
    moves = {entry.culture_id: entry.number for entry in Entry.objects.filter(reason=Entry.Reason.MOVED)}
    assert moves == {source.pk: -12, quarantine.pk: 12}
    assert Parcel.objects.get(pk=box.pk).status == Parcel.Status.UNPACKED
    assert Promise.objects.get().state == (Promise.State.RELEASED if release else Promise.State.HELD)
    assert Supply.objects.get().on_shelf == 3


def test_taking_apart_what_came_out_of_no_named_tub_is_said(line: Line) -> None:
    box = checked_box(line)
    box.items.update(culture=None)
    with time_machine.travel(MORNING, tick=False):
        departure.record_packed(box.number, {}, by=None)
        done = departure.unpack_parcel(box.number, by=None)
    assert done.sentences[0].startswith(f"No tub is named for 12 of {line}, so no tub's book was changed.")
    assert not Culture.objects.filter(purpose="quarantine").exists()


def test_taking_apart_a_box_that_was_never_packed_moves_no_animal(line: Line) -> None:
    box = checked_box(line)
    with time_machine.travel(MORNING, tick=False):
        departure.unpack_parcel(box.number, by=None)
        again = packing.plan_parcel(box.order.number, by=None)
    assert not Entry.objects.filter(reason=Entry.Reason.MOVED).exists()
    assert again.items.get().planned == 12


def test_a_second_box_taken_apart_uses_the_same_quarantine_tub(line: Line) -> None:
    for _ in range(2):
        box = checked_box(line)
        with time_machine.travel(MORNING, tick=False):
            departure.record_packed(box.number, {}, by=None)
            departure.unpack_parcel(box.number, release=True, by=None)
    assert Culture.objects.filter(purpose=Culture.Purpose.QUARANTINE).count() == 1


def test_a_kit_of_which_a_part_is_missing_is_not_tried(line: Line) -> None:
    better = boxes.kit()
    boxes.part(better, "Foam liner", on_shelf=0)
    box = checked_box(line)
    assert [kit["name"] for kit in box.checks.get().result["kits"]] == ["Bare card"]
    Kit.objects.filter(pk=better.pk).update(cost=0)
    with time_machine.travel(MORNING, tick=False):
        packing.choose_kit(box.number, better.pk, by=None)
        check = departure.check_parcel(box.number, by=None)
    assert check.result["kit"]["note"] == "Foam liner: 1 needed, 0 on the shelf"
