"""Planning and changing a box at the bench; supplies on the shelf."""

import re
from datetime import date, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from breeder.base.action_frame import Sent
from breeder.base.form_tokens import AlreadyDone
from breeder.cultures.actions.counts import record_count
from breeder.orders.models import Order
from breeder.shipments.actions import bench
from breeder.shipments.models import Parcel, Supply
from breeder.shipments.queries import parcels
from breeder.shipments.rules.box_rules import BoxRefused, ItemChange
from tests import build
from tests.shipments import boxes

pytestmark = pytest.mark.django_db

NOW = build.NOW  # a Sunday
MONDAY = date(2026, 3, 2)


@pytest.fixture(autouse=True)
def _now() -> object:
    with time_machine.travel(NOW, tick=False):
        yield


def order(*forms: str, packs: int = 1, **values: object) -> Order:
    lines = [build.line(form) for form in forms or ("Harbour",)]
    for line in lines:
        boxes.stocked(line, at=NOW)
    return boxes.order(*[(line, packs) for line in lines], **values)  # type: ignore[arg-type]


def test_a_box_is_planned_tub_by_tub_on_the_next_posting_day() -> None:
    boxes.service()
    parcel = bench.plan_parcel(order("Harbour", "Chalk", packs=2).number, by=None)
    assert (parcel.post_on, parcel.kit, parcel.way) == (MONDAY, None, "doorstep")
    assert [(item.planned, item.cups) for item in parcel.items.all()] == [(24, 2), (24, 2)]
    assert all(item.culture for item in parcel.items.all())


def test_numbers_go_up_and_are_never_used_again() -> None:
    first = bench.plan_parcel(order().number, by=None)
    second = bench.plan_parcel(order("Chalk").number, by=None)
    assert second.number == first.number + 1


def test_an_order_is_boxed_once_and_a_second_form_gets_the_first_answer() -> None:
    made = order()
    sent = Sent("t", answer=lambda parcel: reverse("shipments:parcel", args=[parcel.number]))
    parcel = bench.plan_parcel(made.number, by=None, sent=sent)
    with pytest.raises(AlreadyDone) as first:
        bench.plan_parcel(made.number, by=None, sent=sent)
    assert first.value.answer == reverse("shipments:parcel", args=[parcel.number])
    with pytest.raises(BoxRefused, match="holds nothing that stands in no box yet"):
        bench.plan_parcel(made.number, by=None)
    assert list(parcels.orders_without_box()) == []


def test_a_cancelled_order_gets_no_box() -> None:
    with pytest.raises(BoxRefused, match="is cancelled"):
        bench.plan_parcel(order(status=Order.Status.CANCELLED).number, by=None)


def test_what_is_taken_out_of_a_box_can_go_into_a_second() -> None:
    made = order("Harbour", "Chalk")
    first = bench.plan_parcel(made.number, by=None)
    out, stays = first.items.all()
    bench.change_contents(
        first.number, {out.pk: ItemChange(0, None, 0), stays.pk: ItemChange(11, stays.culture_id, 2)}, by=None
    )
    assert list(parcels.orders_without_box()) == [made]
    second = bench.plan_parcel(made.number, by=None)
    assert second.items.get().order_line_id == out.order_line_id
    stays.refresh_from_db()
    assert (stays.planned, stays.cups) == (11, 2)


def test_a_box_is_never_emptied_and_takes_no_strange_tub() -> None:
    box = bench.plan_parcel(order().number, by=None)
    item = box.items.get()
    with pytest.raises(BoxRefused, match="would be empty"):
        bench.change_contents(box.number, {item.pk: ItemChange(0, None, 0)}, by=None)
    strange = build.tub(build.line("Chalk"))
    bench.change_contents(box.number, {item.pk: ItemChange(12, strange.pk, 1)}, by=None)
    item.refresh_from_db()
    assert item.culture is None


@pytest.mark.parametrize(
    "on, said",
    [
        (date(2026, 2, 27), "is past"),
        (date(2026, 3, 6), "this service is not used on a Friday"),
        (date(2026, 5, 4), "further away than the 16 days"),
    ],
)
def test_a_day_on_which_the_service_takes_no_box_is_refused(on: date, said: str) -> None:
    boxes.service()
    box = bench.plan_parcel(order().number, by=None)
    with pytest.raises(BoxRefused, match=said):
        bench.choose_day(box.number, on, by=None)
    assert Parcel.objects.get().post_on == MONDAY


def test_another_service_moves_a_day_that_it_does_not_take() -> None:
    boxes.service()
    ground = boxes.service("ground", weekdays=[1], least_days=3, usual_days=3, latest_days=4)
    box = bench.plan_parcel(order().number, by=None)
    box.service = None
    bench.choose_way(box.number, ground.pk, "counter", by=None)
    changed = Parcel.objects.get()
    assert (changed.service, changed.way, changed.post_on) == (ground, "counter", MONDAY + timedelta(days=1))


def test_a_way_that_the_service_does_not_offer_is_refused() -> None:
    only_door = boxes.service(to_counter=False)
    box = bench.plan_parcel(order().number, by=None)
    with pytest.raises(BoxRefused, match="does not deliver to a counter"):
        bench.choose_way(box.number, only_door.pk, "counter", by=None)


def test_a_box_that_left_is_not_changed_any_more() -> None:
    kit = boxes.bare()
    box = bench.plan_parcel(order().number, by=None)
    Parcel.objects.update(status=Parcel.Status.SENT)
    with pytest.raises(BoxRefused, match="is sent"):
        bench.choose_kit(box.number, kit.pk, by=None)


def test_the_shelf_is_counted_on_its_page(keeper_client: Client) -> None:
    supply = Supply.objects.create(name="Liner", on_shelf=4)
    page = reverse("shipments:supplies")
    assert keeper_client.post(page, {f"shelf_{supply.pk}": "9", f"below_{supply.pk}": "2"}).status_code == 302
    supply.refresh_from_db()
    assert (supply.on_shelf, supply.order_below) == (9, 2)
    refused = keeper_client.post(page, {f"shelf_{supply.pk}": "-3", f"below_{supply.pk}": "2"})
    assert refused.status_code == 422
    assert "the smallest it can be is 0" in refused.content.decode()
    assert (
        keeper_client.post(page, {"add": "1", "name": "Liner", "on_shelf": "1", "order_below": "1"}).status_code == 422
    )
    keeper_client.post(page, {"add": "1", "name": "Bottle", "on_shelf": "1", "order_below": "1"})
    assert Supply.objects.count() == 2


def test_the_last_boxes_stand_by_when_they_left_and_a_box_taken_apart_among_them() -> None:
    for number, (status, days) in enumerate([("sent", 2), ("unpacked", 1), ("sent", 0)]):
        at = NOW - timedelta(days=days)
        made = order(f"Form {number}", at=at)
        Parcel.objects.create(number=9 - number, order=made, status=status, sent_at=at if status == "sent" else None)
    assert [box.number for box in parcels.parcels_sent(2)] == [7, 8]


def stamps(page: Any) -> dict[str, str]:
    return dict(re.findall(r'name="(seen_\d+)" value="([^"]*)"', page.content.decode()))


def test_a_box_that_left_while_the_shelf_was_counted_is_not_counted_back(keeper_client: Client) -> None:
    liner, pack = (Supply.objects.create(name=name, on_shelf=20) for name in ("Liner", "Pack"))
    page = reverse("shipments:supplies")
    seen = stamps(keeper_client.get(page))
    Supply.objects.update(on_shelf=18)
    typed = {f"shelf_{liner.pk}": "20", f"below_{liner.pk}": "5", f"shelf_{pack.pk}": "30", f"below_{pack.pk}": "5"}
    refused = keeper_client.post(page, typed | seen)
    assert refused.status_code == 422
    assert "‘Pack’ was changed since you opened this page: 18 on the shelf" in refused.content.decode()
    assert "‘Liner’ was changed" not in refused.content.decode()
    # The page shown again holds what was typed, and the book's values in untouched fields.
    assert refused.context["counts"][f"shelf_{liner.pk}"].value() == "18"
    again = typed | {f"shelf_{liner.pk}": "18"} | stamps(refused)
    assert keeper_client.post(page, again).status_code == 302
    assert list(Supply.objects.values_list("on_shelf", flat=True)) == [18, 30]


def test_a_box_that_left_while_the_count_waited_for_the_lock_is_not_counted_back(
    keeper_client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    liner, count_supplies = Supply.objects.create(name="Liner", on_shelf=20), bench.count_supplies

    def count_after_a_box_left(*args: Any, **how: Any) -> list[Supply]:
        Supply.objects.update(on_shelf=18)
        return count_supplies(*args, **how)

    monkeypatch.setattr(bench, "count_supplies", count_after_a_box_left)
    page = reverse("shipments:supplies")
    typed = {f"shelf_{liner.pk}": "30", f"below_{liner.pk}": "5"}
    refused = keeper_client.post(page, typed | stamps(keeper_client.get(page)))
    assert refused.status_code == 422
    assert "‘Liner’ was changed since you opened this page: 18 on the shelf" in refused.content.decode()
    assert Supply.objects.get().on_shelf == 18
    # Looked at again, it is counted as typed.
    assert keeper_client.post(page, typed | stamps(refused)).status_code == 302
    assert Supply.objects.get().on_shelf == 30


def test_a_slip_on_the_page_does_not_hide_that_a_box_left(keeper_client: Client) -> None:
    liner, page = Supply.objects.create(name="Liner", on_shelf=20), reverse("shipments:supplies")
    seen = stamps(keeper_client.get(page))
    Supply.objects.update(on_shelf=18)
    faulty = keeper_client.post(page, {f"shelf_{liner.pk}": "-1", f"below_{liner.pk}": "5"} | seen)
    stale = keeper_client.post(page, {f"shelf_{liner.pk}": "30", f"below_{liner.pk}": "5"} | stamps(faulty))
    assert stale.status_code == 422
    assert "‘Liner’ was changed since you opened this page: 18 on the shelf" in stale.content.decode()


def test_the_kits_page_takes_the_example_set_once(keeper_client: Client) -> None:
    page = reverse("shipments:kits")
    assert "Take the example set" in keeper_client.get(page).content.decode()
    keeper_client.post(page, {"token": "x"})
    answer = keeper_client.post(page, {"token": "x"}, follow=True)
    assert answer.content.decode().count("Foam 38 mm, 72 h pack") == 1


def test_planning_from_the_page_leads_to_the_box_and_a_refusal_back_to_the_list(keeper_client: Client) -> None:
    made = order()
    answer = keeper_client.post(reverse("shipments:plan", args=[made.number]), {"token": "p"})
    box = Parcel.objects.get()
    assert answer["Location"] == reverse("shipments:parcel", args=[box.number])
    again = keeper_client.post(reverse("shipments:plan", args=[made.number]), {"token": "q"}, follow=True)
    assert "holds nothing that stands in no box yet" in again.content.decode()
    assert keeper_client.post(reverse("shipments:plan", args=[999_999])).status_code == 404


def test_36_young_of_a_line_in_two_tubs_come_out_of_one_and_the_next_36_out_of_the_other() -> None:
    """By what each tub could spare on its own it was 34 + 2; the line keeps its 30 all the same."""
    line = build.line("Harbour", young_kept=30, harvest_share=None)
    tubs = [build.tub(line), build.tub(line)]
    for tub in tubs:
        record_count(tub.pk, "young", "hand", {"counted": 50}, by=None)
    first, second = (bench.plan_parcel(boxes.order((line, 3)).number, by=None) for _ in range(2))
    planned = [[(item.culture, item.planned) for item in box.items.all()] for box in (first, second)]
    assert planned == [[(tubs[0], 36)], [(tubs[1], 36)]]
