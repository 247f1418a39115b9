"""The board: all boxes on their days, a plan from one shelf, choosing its days and kits, and the calendar."""

from datetime import date, timedelta
from typing import Any

import icalendar
import pytest
import time_machine
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from breeder.base.models import LogRow
from breeder.core.transit.schedule import Aim, Shelf, ShippingPlan, UnplannedBox, plan_boxes
from breeder.orders import actions as orders
from breeder.shipments import board as boards
from breeder.shipments import calendar_feed, delay_notice
from breeder.shipments.actions import departure
from breeder.shipments.board_page import plan_notes
from breeder.shipments.models import Check, Parcel
from breeder.shipments.queries.parcels import parcels_here
from tests.shipments import boxes

MONDAY = date(2013, 10, 7)
MORNING = boxes.morning_of(MONDAY)
pytestmark = pytest.mark.django_db


@pytest.fixture
def two() -> list[Parcel]:
    household = boxes.household()
    assert household.latitude is not None
    boxes.bare()
    boxes.part(boxes.warm(), "Heat pack 72 h", 1)
    parcels = [boxes.parcel(MONDAY) for _ in range(2)]
    boxes.real_hours(MONDAY, issued_at=MORNING - timedelta(hours=2), days=14)
    return parcels


def planned(aim: Aim = Aim.EARLIEST, boxes_a_day: int = 12) -> Any:
    with time_machine.travel(MORNING, tick=False):
        board = boards.build_board(boxes.household(), MORNING)
        return board, boards.plan(board, aim, boxes_a_day)


def test_every_box_stands_with_its_posting_days(two: list[Parcel]) -> None:
    board, plan = planned()
    assert [row.parcel.number for row in board.rows] == [box.number for box in two]
    days = [cell.on for cell in board.rows[0].cells]
    assert days[0] == MONDAY
    assert all(day.weekday() in (0, 1, 2) for day in days)
    assert {given.on for given in plan.given} == {MONDAY}
    assert plan.cost == pytest.approx(2.20)


def test_a_checked_day_that_lacks_hours_names_its_odds_as_an_unchecked_one_does(keeper_client: Client) -> None:
    boxes.household()
    boxes.bare()
    box = boxes.parcel(MONDAY)
    boxes.real_hours(MONDAY, issued_at=MORNING - timedelta(hours=2), days=2)
    with time_machine.travel(MORNING, tick=False):
        assert departure.check_parcel(box.number, by=None).verdict == Check.Verdict.NOT_DECIDED
        page_text = keeper_client.get(reverse("shipments:board")).content.decode()
    assert "Its check says so." in page_text
    assert "odds not known" in page_text
    assert "comfort not known" not in page_text


def test_boxes_a_day_send_the_later_promised_box_on_another_day(two: list[Parcel]) -> None:
    two[1].order.promised_by = MONDAY + timedelta(days=1)
    two[1].order.save()
    _, plan = planned(boxes_a_day=1)
    assert plan.assignment(two[1].number).on == MONDAY
    assert plan.assignment(two[0].number).on > MONDAY


def test_the_last_pack_goes_to_the_box_that_was_promised_first(two: list[Parcel]) -> None:
    board, _ = planned()
    cells = board.rows[0].cells
    warm = next(kit for kit in cells[0].options if kit.candidate.has_pack)
    only_warm = tuple(
        type(cell)(cell.number, cell.on, (warm,), 0, cell.shape, cell.destination_zone) for cell in cells[:1]
    )
    kit_id = warm.candidate.kit_id
    shelf = Shelf({5: 1}, {kit_id: {5: 1}}, {5: "Heat pack 72 h"})
    waits = [UnplannedBox(1, None, only_warm), UnplannedBox(2, MONDAY + timedelta(days=2), only_warm)]
    if not only_warm[0].going:
        pytest.fail("The pack should go on this day for the test to say anything.")
    plan = plan_boxes(waits, shelf, Aim.EARLIEST, boxes_a_day=9)
    assert [given.number for given in plan.given] == [2]
    assert plan.without == (1,)
    assert "box 2 gets them, in order of promised date. Box 1 gets no day without it." in plan.shortages[0]
    # A packed box has used its pack already.
    assert plan_boxes(waits, shelf, Aim.EARLIEST, boxes_a_day=9, packed=[(kit_id, MONDAY)]).given == ()


def test_fewest_days_puts_boxes_together_and_cheapest_costs_no_more(two: list[Parcel]) -> None:
    costs = {aim: planned(aim)[1] for aim in Aim}
    assert costs[Aim.FEWEST].days == 1
    assert costs[Aim.CHEAPEST].cost <= min(costs[Aim.EARLIEST].cost, costs[Aim.FEWEST].cost)


def test_the_page_shows_days_and_a_choice_is_kept(two: list[Parcel], keeper_client: Client) -> None:
    with time_machine.travel(MORNING, tick=False):
        page = keeper_client.get(reverse("shipments:board"))
        page_text = page.content.decode()
        assert page.status_code == 200
        assert f"Box {two[0].number}" in page_text
        kit = boxes.Kit.objects.get(name="Bare card")
        tuesday = MONDAY + timedelta(days=1)
        choice = f"{two[0].number}:{tuesday.isoformat()}:{kit.pk}"
        keeper_client.post(reverse("shipments:board_choose"), {"choose": choice, "token": "t"}, follow=True)
    two[0].refresh_from_db()
    assert (two[0].post_on, two[0].kit) == (tuesday, kit)
    assert LogRow.objects.filter(did="chose day and kit").count() == 1


def test_on_its_chosen_day_a_fresh_check_speaks_whatever_it_says(two: list[Parcel], keeper_client: Client) -> None:
    """The board looks at fewer journeys: it must not show Go where the check of the same day has No-go."""
    with time_machine.travel(MORNING, tick=False):
        departure.check_parcel(two[0].number, by=None)
        Check.objects.update(verdict=Check.Verdict.NO_GO, reason="It gets too cold at dawn.")
        cells = keeper_client.get(reverse("shipments:board")).context["rows"][0]["cells"]
    assert (cells[0]["verdict"], cells[0]["reason"]) == ("no-go", "It gets too cold at dawn.")
    assert cells[0]["checked"]
    assert cells[1]["verdict"] == "go"


@pytest.mark.parametrize("sent", ["", "1:2:3", "0:2013-10-08:0", "x"])
def test_what_is_no_choice_is_refused_in_a_sentence(two: list[Parcel], keeper_client: Client, sent: str) -> None:
    with time_machine.travel(MORNING, tick=False):
        answer = keeper_client.post(reverse("shipments:board_choose"), {"choose": sent}, follow=True)
    assert answer.status_code == 200
    assert two[0].kit is None


def test_a_sunday_is_refused_for_all(two: list[Parcel], keeper_client: Client) -> None:
    kit = boxes.Kit.objects.get(name="Bare card")
    sunday = MONDAY + timedelta(days=6)
    choices = [f"{two[0].number}:{MONDAY + timedelta(days=1)}:{kit.pk}", f"{two[1].number}:{sunday}:{kit.pk}"]
    with time_machine.travel(MORNING, tick=False):
        answer = keeper_client.post(reverse("shipments:board_choose"), {"choose": choices}, follow=True)
    assert "Sunday" in answer.content.decode()
    assert {box.post_on for box in Parcel.objects.all()} == {MONDAY}


def test_the_calendar_needs_its_secret_and_names_nobody(two: list[Parcel], client: Client, keeper: User) -> None:
    with time_machine.travel(MORNING, tick=False):
        client.force_login(keeper)
        feed = client.get(reverse("shipments:board")).context["feed"]
        client.logout()
        answer = client.get(feed)
        assert client.get(feed.replace("/days.ics", "x/days.ics")).status_code == 404
    events = icalendar.Calendar.from_ical(answer.content).walk("VEVENT")
    assert [event.decoded("dtstart") for event in events] == [MONDAY]
    assert str(events[0]["summary"]) == "Post 2 boxes"
    assert two[0].order.person.name not in answer.content.decode()


def test_a_box_that_nobody_waits_for_is_in_no_calendar(two: list[Parcel], keeper: User) -> None:
    orders.cancel_order(two[0].order.number, "changed their mind", by=keeper)
    events = calendar_feed.feed(parcels_here(), "here", MORNING).decode()
    assert "Post 1 box" in events
    assert f"Box {two[1].number} " in events
    assert f"Box {two[0].number} " not in events


@pytest.mark.parametrize(
    ("without", "named"),
    [((4,), "box 4. Tell"), ((4, 7), "boxes 4 and 7. Tell"), ((4, 7, 9), "boxes 4, 7 and 9. Tell")],
)
def test_boxes_without_a_day_are_named(without: tuple[int, ...], named: str) -> None:
    (note,) = plan_notes(ShippingPlan((), without, (), {}), boards.Board((), Shelf({}, {}, {}), (), {}, {}))
    assert note.startswith(f"No day is found for {named}")


def test_on_its_chosen_day_the_checked_kit_is_the_one_that_is_chosen_again(
    two: list[Parcel], keeper_client: Client
) -> None:
    boxes.kit()
    dear = boxes.thick()
    two[0].kit = dear
    two[0].save()
    with time_machine.travel(MORNING, tick=False):
        departure.check_parcel(two[0].number, by=None)
        cell = keeper_client.get(reverse("shipments:board")).context["rows"][0]["cells"][0]
    assert cell["checked"]
    assert (cell["kit"], cell["cost"]) == (dear.name, dear.cost)
    assert cell["choice"] == f"{two[0].number}:{MONDAY.isoformat()}:{dear.pk}"


def test_the_notice_names_the_promised_date_and_the_right_to_cancel() -> None:
    notice = delay_notice.notice_text(
        "Ada", 7, promised_by=MONDAY, new_day=MONDAY + timedelta(days=7), trade_name="Fern"
    )
    assert "promised to leave by Monday 7 October 2013" in notice
    assert "leave on Monday 14 October 2013" in notice
    assert "get back all that you paid" in notice
    assert "16 CFR 435.2" in delay_notice.RULE


def test_the_notice_without_a_new_day_says_when_it_ends_by_itself() -> None:
    notice = delay_notice.notice_text("Ada", 7, promised_by=MONDAY, new_day=None, trade_name="Fern")
    assert "I do not know the new day yet" in notice
    assert "within 30 days of the promised day and I have not heard from you, I cancel it" in notice
    notice = delay_notice.notice_text("Ada", 7, promised_by=None, new_day=None, trade_name="Fern")
    assert "promised" not in notice
    assert "within 30 days from today and I have not heard from you, I cancel it" in notice


def test_the_notice_names_no_day_that_was_not_checked_as_go(two: list[Parcel]) -> None:
    box = two[0]
    day = MONDAY.isoformat()
    later = {"on": (MONDAY + timedelta(days=7)).isoformat()}

    def buyer_day(verdict: str, next_day: object = None, checked_for: str = day, today: date = MONDAY) -> date | None:
        return delay_notice.day_for_buyer(
            box, Check(verdict=verdict, inputs={"post_on": checked_for}, result={"next_day": next_day}), today
        )

    assert buyer_day(Check.Verdict.NO_GO) is None
    assert buyer_day(Check.Verdict.NO_GO, later) == MONDAY + timedelta(days=7)
    assert buyer_day(Check.Verdict.NOT_DECIDED) is None
    assert buyer_day(Check.Verdict.GO) == MONDAY
    # Its day changed since, and the new one was not checked.
    assert buyer_day(Check.Verdict.GO, checked_for="2013-10-08") is None
    assert delay_notice.day_for_buyer(box, None, MONDAY) is None
    # The check is old, and the day that it found is past.
    assert buyer_day(Check.Verdict.NO_GO, later, today=MONDAY + timedelta(days=8)) is None
    assert buyer_day(Check.Verdict.GO, today=MONDAY + timedelta(days=1)) is None
