"""What to count next, out of the book: why, how, and within how many queries."""

from datetime import timedelta

import pytest
import time_machine
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from breeder.cultures.actions.corrections import correct_entry
from breeder.cultures.actions.counts import record_count
from breeder.cultures.models import Culture
from breeder.cultures.queries.next_counts import plan_of_week
from breeder.cultures.queries.stock import stock_of
from breeder.species.models import Line
from tests.build import NOW, line, tub
from tests.cultures.test_stock import many_lines, queries_for

pytestmark = pytest.mark.django_db
EYE = {"from": 100, "to": 250}


def eyed(
    keeper: User, days_ago: int, given: dict[str, int] | None = None, stage: str = "young", **of: object
) -> Culture:
    culture = tub(line(**{"harvest_share": None, "adults_kept": 20, **of}))
    with time_machine.travel(NOW - timedelta(days=days_ago)):
        record_count(culture.pk, stage, "eye", given or EYE, by=keeper)
    return culture


@pytest.fixture(autouse=True)
def clock() -> object:
    with time_machine.travel(NOW):
        yield


def test_a_doubtful_tub_says_how_many_stay_unsold_and_how_to_count_it(keeper: User) -> None:
    culture = eyed(keeper, 60)
    (one,) = plan_of_week().tubs
    stock = stock_of(culture.line_id).stages["young"]
    assert one.tub == culture
    assert one.unsold == pytest.approx(stock.likely - 20 - stock.free, abs=1)
    reason = one.reasons[0]
    assert f"about {one.unsold:.0f} animals" in reason.why
    assert "Sort it fully" in reason.way
    assert f"instead of {stock.lower}" in reason.way
    assert "would halve the doubt" in reason.more


def test_a_line_near_its_minimum_comes_first_even_when_counted_this_week(keeper: User) -> None:
    eyed(keeper, 60)
    near = eyed(keeper, 2, {"from": 25, "to": 50}, "adults", form="Near")
    eyed(keeper, 2, form="Fresh")
    plan = plan_of_week()
    assert [one.tub.pk for one in plan.tubs][0] == near.pk
    assert "It may hold fewer than the 20 that must stay" in plan.tubs[0].reasons[0].why
    assert len(plan.tubs) == 2  # the other tub counted this week is left alone
    assert plan.counted == 2


def test_a_count_takes_a_tub_off_the_plan(keeper: User) -> None:
    culture = eyed(keeper, 60)
    record_count(culture.pk, "young", "full_sort", {"counted": 150}, by=keeper)
    assert plan_of_week().tubs == ()


def test_a_tub_never_counted_is_on_the_plan_and_one_that_gives_nothing_is_not(keeper: User) -> None:
    new = tub()
    tub(purpose=Culture.Purpose.QUARANTINE)
    tub(not_for_sale="crashed")
    tub(line("Cups", sold_by=Line.SoldBy.CUP))
    (one,) = plan_of_week().tubs
    assert (one.tub, one.reasons[0].why) == (new, "Never counted, so nothing of it can be sold.")


def test_a_line_that_rests_or_is_frozen_loses_nothing_by_doubt(keeper: User) -> None:
    eyed(keeper, 60, not_for_sale="crash")
    eyed(keeper, 60, form="Cold", frozen_because="last of its kind")
    assert plan_of_week().tubs == ()


def test_portions_more_are_worked_out_from_those_of_the_last_count(keeper: User) -> None:
    culture = tub(line(harvest_share=None))
    given = {"counts": [9, 14, 6, 11], "sizes": [50] * 4, "whole": 4000}
    with time_machine.travel(NOW - timedelta(days=60)):
        count = record_count(culture.pk, "young", "portions", given, by=keeper).entry
    (one,) = plan_of_week().tubs
    assert "portions more than the 4 of the last count" in one.reasons[0].more
    slip = correct_entry(count.pk, by=keeper).entry
    correct_entry(slip.pk, by=keeper)
    (again,) = plan_of_week().tubs
    assert again.reasons == one.reasons, "a count taken back by a slip stands again"


def test_at_most_25_a_week_less_those_already_counted(keeper: User) -> None:
    eyed(keeper, 60)
    many_lines(40)
    assert len(plan_of_week().tubs) == 25
    for _ in range(3):
        eyed(keeper, 1, form=f"Done {_}")
    assert len(plan_of_week().tubs) == 22


def test_it_takes_the_same_number_of_queries_for_10_lines_and_for_500(keeper: User) -> None:
    eyed(keeper, 60)
    many_lines(9)
    few = queries_for(plan_of_week)
    many_lines(490)
    assert queries_for(plan_of_week) == few == 6


def test_the_page_the_first_page_and_the_round_show_it(keeper: User, client: Client) -> None:
    client.force_login(keeper)
    culture = eyed(keeper, 60)
    for page in (reverse("cultures:to_count"), reverse("dashboard:page")):
        said = client.get(page).content.decode()
        assert "keeps about" in said
        assert f"Tub {culture.number}" in said
    assert "Worth counting" in client.get(reverse("cultures:round_tub", args=[culture.number])).content.decode()
    record_count(culture.pk, "young", "full_sort", {"counted": 150}, by=keeper)
    assert "1 tub were" not in (said := client.get(reverse("cultures:to_count")).content.decode())
    assert "Nothing for now" in said
