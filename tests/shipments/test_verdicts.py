"""Checks of real days: July and February stop a bare box, ordinary spring days let it go."""

from datetime import date, timedelta
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from breeder.base.models import Setting
from breeder.shipments import check_text
from breeder.shipments.actions import departure
from breeder.shipments.models import Check, Parcel
from breeder.shipments.queries import checks
from breeder.shipments.rules.departure_rules import draw_seed as own_seed
from tests.shipments import boxes

pytestmark = pytest.mark.django_db

FEBRUARY, JULY, OCTOBER = date(2013, 2, 4), date(2013, 7, 15), date(2013, 10, 7)  # all Mondays


def checked(on: date, *, shift_c: float = 0.0, kits: Any = None, cups: int = 1) -> Check:
    boxes.household()
    (kits or boxes.bare)()
    box = boxes.parcel(on)
    box.items.update(cups=cups)
    now = boxes.morning_of(on)
    boxes.real_hours(on, issued_at=now - timedelta(hours=2), shift_c=shift_c)
    with time_machine.travel(now, tick=False):
        return departure.check_parcel(box.number, by=None)


def test_a_real_february_day_is_no_go_for_a_bare_box() -> None:
    check = checked(FEBRUARY)
    assert check.verdict == Check.Verdict.NO_GO
    assert check.result["kit"]["too_cold"] > 0.8
    assert check.result["kit"]["too_warm"] == 0
    assert "too cold" in check.reason


def test_a_real_july_day_is_no_go_for_a_bare_box() -> None:
    check = checked(JULY)
    assert check.verdict == Check.Verdict.NO_GO
    assert check.result["kit"]["too_warm"] > 0.8
    assert "It gets too warm" in check.reason


def test_a_mild_day_is_go_without_a_pack() -> None:
    check = checked(OCTOBER)
    assert check.verdict == Check.Verdict.GO
    assert check.result["kit"]["comfort"]["failed"] < 0.02


def test_fifteen_degrees_more_make_a_go_fall() -> None:
    assert checked(OCTOBER, shift_c=15.0).verdict == Check.Verdict.NO_GO


def test_the_counter_saves_a_cold_day_that_the_doorstep_loses() -> None:
    # Two degrees under the real hours and four cups: far from the edge on both sides, whatever is drawn.
    assert checked(FEBRUARY, shift_c=-2.0, kits=boxes.thick, cups=4).verdict == Check.Verdict.NO_GO
    other = Check.objects.get().result["other_way"]
    assert (other["way"], other["verdict"]) == (Parcel.Way.COUNTER, Check.Verdict.WITH_PACK)
    assert other["hard"]["failed"] < 0.03


def test_a_box_chosen_for_the_counter_gets_the_odds_that_were_offered() -> None:
    at_doorstep = checked(FEBRUARY, shift_c=-2.0, kits=boxes.thick)
    Parcel.objects.update(way=Parcel.Way.COUNTER)
    with time_machine.travel(boxes.morning_of(FEBRUARY), tick=False):
        at_counter = departure.check_parcel(at_doorstep.parcel.number, by=None)
    offered = at_doorstep.result["other_way"]
    assert {name: at_counter.result["kit"][name] for name in ("comfort", "hard")} == {
        name: offered[name] for name in ("comfort", "hard")
    }


def test_a_box_that_may_go_says_what_the_other_way_would_run_in_the_same_kit() -> None:
    check = checked(OCTOBER)
    other = check.result["other_way"]
    assert check.verdict == Check.Verdict.GO
    assert (other["way"], other["kit_id"]) == (Parcel.Way.COUNTER, check.result["kit"]["kit_id"])
    assert other["comfort"]["failed"] <= check.result["kit"]["comfort"]["failed"]


FRIDAY, SUNDAY, MONDAY = (date(2026, 3, day) for day in (6, 8, 9))


@pytest.mark.parametrize(
    ("verdict", "checked_on", "today", "words"),
    [
        (Check.Verdict.GO, FRIDAY, FRIDAY, "checked again on Monday morning"),
        (Check.Verdict.WITH_PACK, FRIDAY, SUNDAY, "checked again on Monday morning"),
        (Check.Verdict.GO, FRIDAY, MONDAY, "Checked on Friday, ahead of its day: check it again before it leaves."),
        (Check.Verdict.GO, MONDAY, MONDAY, ""),
        (Check.Verdict.NO_GO, FRIDAY, FRIDAY, ""),
    ],
)
def test_a_go_made_ahead_says_that_it_is_checked_again(verdict: str, checked_on: date, today: date, words: str) -> None:
    text = check_text.morning_check_text(verdict, checked_on, MONDAY, today)
    assert words in text
    assert bool(text) == bool(words)


def test_the_cheapest_kit_that_may_go_is_taken_and_all_are_tried() -> None:
    check = checked(OCTOBER, kits=lambda: (boxes.kit(), boxes.warm(), boxes.bare()))
    assert [kit["name"] for kit in check.result["kits"]] == ["Bare card", "Foam 19 mm", "Foam 19 mm, 72 h pack"]
    assert check.parcel.kit.name == "Bare card"
    assert check.result["kits"][2]["verdict"] == "with pack"


def test_a_heat_pack_is_tried_against_the_warm_limit_too() -> None:
    check = checked(JULY, kits=lambda: (boxes.bare(), boxes.warm()))
    bare, warm = check.result["kits"]
    assert warm["hard"]["failed"] >= bare["hard"]["failed"] > 0.05


def test_the_same_forecast_gives_the_same_odds_to_the_digit() -> None:
    first = checked(FEBRUARY, kits=lambda: (boxes.kit(), boxes.warm()))
    with time_machine.travel(boxes.morning_of(FEBRUARY) + timedelta(hours=3), tick=False):
        again = departure.check_parcel(first.parcel.number, by=None)
    assert again.pk != first.pk
    assert again.seed == first.seed
    assert again.result["kits"] == first.result["kits"]
    assert again.result["curve"] == first.result["curve"]


def test_fahrenheit_and_celsius_households_get_the_same_verdict() -> None:
    in_c = checked(FEBRUARY)
    Setting.objects.update(fahrenheit=True)
    with time_machine.travel(boxes.morning_of(FEBRUARY), tick=False):
        in_f = departure.check_parcel(in_c.parcel.number, by=None)
    assert in_f.verdict == in_c.verdict
    assert in_f.result["kits"] == in_c.result["kits"]
    assert in_f.digest == in_c.digest


def test_without_hours_nothing_is_decided_and_the_hours_are_named() -> None:
    boxes.household()
    boxes.bare()
    box = boxes.parcel(OCTOBER)
    with time_machine.travel(boxes.morning_of(OCTOBER), tick=False):
        check = departure.check_parcel(box.number, by=None)
    assert check.verdict == Check.Verdict.NOT_DECIDED
    assert "Queens lacks" in check.reason
    assert "Home lacks" in check.reason


def test_hours_that_end_too_early_decide_nothing_on_a_mild_day() -> None:
    boxes.household()
    boxes.bare()
    box = boxes.parcel(OCTOBER)
    now = boxes.morning_of(OCTOBER)
    boxes.real_hours(OCTOBER, issued_at=now - timedelta(hours=2), days=3)
    with time_machine.travel(now, tick=False):
        check = departure.check_parcel(box.number, by=None)
    assert check.verdict == Check.Verdict.NOT_DECIDED
    assert check.result["kit"]["comfort"]["failed_or_unknown"] > 0.2


def test_hours_that_end_too_early_still_refuse_a_day_that_fails_before_them() -> None:
    boxes.household()
    boxes.bare()
    box = boxes.parcel(JULY)
    now = boxes.morning_of(JULY)
    boxes.real_hours(JULY, issued_at=now - timedelta(hours=2), days=4)
    with time_machine.travel(now, tick=False):
        assert departure.check_parcel(box.number, by=None).verdict == Check.Verdict.NO_GO


def test_a_lapsed_forecast_is_not_used_at_all() -> None:
    boxes.household()
    boxes.bare()
    box = boxes.parcel(OCTOBER)
    now = boxes.morning_of(OCTOBER)
    boxes.real_hours(OCTOBER, issued_at=now - timedelta(hours=49))
    with time_machine.travel(now, tick=False):
        assert departure.check_parcel(box.number, by=None).verdict == Check.Verdict.NOT_DECIDED


def test_a_no_go_names_the_next_day_that_is_go() -> None:
    # Two days from 1 April 2013 had 1 to 8 °C, a week later 8 to 27 °C; three degrees less make the first too cold.
    start = date(2013, 4, 1)
    boxes.household()
    boxes.bare()
    box = boxes.parcel(start)
    now = boxes.morning_of(start)
    boxes.real_hours(start, issued_at=now - timedelta(hours=2), days=16, shift_c=-3.0)
    with time_machine.travel(now, tick=False):
        check = departure.check_parcel(box.number, by=None)
        next_day = check.result["next_day"]
        assert check.verdict == Check.Verdict.NO_GO
        on = date.fromisoformat(next_day["on"])
        assert on > start
        Parcel.objects.filter(pk=box.pk).update(post_on=on)
        assert departure.check_parcel(box.number, by=None).verdict in ("go", "with pack")


@pytest.mark.parametrize(
    ("days", "notice"),
    [
        (16, "No kit goes on a later posting day either, up to Tuesday 12 February."),
        (4, "The hours that are known reach no later posting day."),
    ],
)
def test_a_no_go_without_a_later_day_says_how_far_it_looked(keeper_client: Client, days: int, notice: str) -> None:
    boxes.household()
    boxes.bare()
    box = boxes.parcel(FEBRUARY)
    now = boxes.morning_of(FEBRUARY)
    boxes.real_hours(FEBRUARY, issued_at=now - timedelta(hours=2), days=days, shift_c=-15.0)
    with time_machine.travel(now, tick=False):
        check = departure.check_parcel(box.number, by=None)
        assert (check.verdict, check.result["next_day"]) == (Check.Verdict.NO_GO, None)
        assert notice in keeper_client.get(reverse("shipments:parcel", args=[box.number])).content.decode()


def test_the_hours_of_a_place_are_read_once_however_many_days_and_services_are_tried() -> None:
    boxes.household()
    boxes.bare()
    box = boxes.parcel(FEBRUARY)
    boxes.service("overnight", usual_days=1, least_days=1, latest_days=2)
    now = boxes.morning_of(FEBRUARY)
    boxes.real_hours(FEBRUARY, issued_at=now - timedelta(hours=2), days=16, shift_c=-15.0)
    with time_machine.travel(now, tick=False), CaptureQueriesContext(connection) as seen:
        check = departure.check_parcel(box.number, by=None)
    assert check.result["no_day"]["until"] == "2013-02-12"
    assert len(check.result["helps"]) == 1
    reads = [query["sql"] for query in seen if '"hours_c"' in query["sql"]]
    assert len(reads) == len(boxes.places())


# Mondays and Tuesdays of spring and autumn 2013 on which air stayed between 45 and 81 °F on the way and the day after.
ORDINARY = [date(2013, month, day) for month, day in ((5, 6), (5, 7), (6, 3), (6, 4), (9, 16), (10, 7), (10, 14))]


@pytest.mark.parametrize("on", ORDINARY)
def test_on_ordinary_days_the_check_agrees_with_the_trades_rule(on: date) -> None:
    check = checked(on)
    opinion = check.result["trade"]
    assert opinion["word"] == "go"
    assert check.verdict == Check.Verdict.GO
    assert opinion["compared"] == "The check agrees."


def test_eight_kits_are_tried_with_two_hundred_members() -> None:
    kits = [boxes.bare, boxes.warm, boxes.thick, boxes.kit]
    kits += [
        lambda mm=mm: boxes.kit(f"Foam {mm} mm", layers=[{"material": "eps", "mm": mm}]) for mm in (10, 25, 30, 40)
    ]
    check = checked(OCTOBER, kits=lambda: [make() for make in kits])
    assert len(check.result["kits"]) == 8
    assert check.result["members"] == 200


def test_a_box_stands_as_its_check_says() -> None:
    check = checked(OCTOBER)
    with time_machine.travel(boxes.morning_of(OCTOBER), tick=False):
        standing = checks.waiting()[0]
    assert standing.verdict == check.verdict
    assert standing.leave.is_free
    assert standing.comfort == check.result["kit"]["comfort"]["failed"]


def test_the_seed_follows_from_box_service_and_day_alone() -> None:
    seed = own_seed(7, 2, FEBRUARY)
    assert own_seed(7, 2, FEBRUARY) == seed
    assert len({seed, own_seed(8, 2, FEBRUARY), own_seed(7, 3, FEBRUARY), own_seed(7, 2, JULY)}) == 4
    assert 0 <= seed < 2**63


def test_a_household_in_fahrenheit_gets_the_same_odds() -> None:
    in_celsius = checked(FEBRUARY)
    Setting.objects.update(fahrenheit=True)
    with time_machine.travel(in_celsius.made_at, tick=False):
        in_fahrenheit = departure.check_parcel(in_celsius.parcel.number, by=None)
    assert in_fahrenheit.verdict == in_celsius.verdict
    assert in_fahrenheit.result["kits"] == in_celsius.result["kits"]
