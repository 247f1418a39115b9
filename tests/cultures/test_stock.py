"""What a line can spare: read in a constant number of queries, from counts that age, by stage, sex and tub."""

from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.contrib.auth.models import User
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from breeder.cultures import entry_text, ledger_check, rules, steps
from breeder.cultures.actions.counts import Sexed, record_count
from breeder.cultures.models import Belief, Culture, Promise
from breeder.cultures.queries.stock import stock_by_line, stock_of
from breeder.cultures.queries.tubs import book_of, line_rows, tub_rows
from breeder.species.models import Line
from tests.build import NOW, line, species, tub
from tests.cultures.book import promise, tub_stock

pytestmark = pytest.mark.django_db


def many_lines(number: int) -> None:
    of = species()
    first = Line.objects.count()
    lines = Line.objects.bulk_create(Line(species=of, form_name=f"Form {first + n}") for n in range(number))
    begun = {"shelf": "A", "started_on": NOW.date()}
    tubs = Culture.objects.bulk_create(Culture(line=one, number=one.pk, **begun) for one in lines)
    pattern = Belief.objects.first()
    assert pattern is not None
    values = {name: getattr(pattern, name) for name in ("stage", "middle", "log_sd", "shared_sd", "used", "counted_at")}
    Belief.objects.bulk_create(Belief(culture=one, **values) for one in tubs)


def queries_for(read: Any) -> int:
    with CaptureQueriesContext(
        connection,
    ) as seen:
        read()
    return len(seen)


def test_it_takes_the_same_number_of_queries_for_10_lines_and_for_500(keeper: User) -> None:
    record_count(tub(number=10**6).pk, "young", "hand", {"counted": 40}, by=keeper)
    many_lines(9)
    few = [queries_for(stock_by_line), queries_for(tub_rows), queries_for(line_rows)]
    many_lines(490)
    assert len(stock_by_line()) == 500
    assert few == [queries_for(stock_by_line), queries_for(tub_rows), queries_for(line_rows)]
    assert few == [4, 8, 5]


def test_a_count_ages_and_after_six_months_sells_nothing(keeper: User) -> None:
    slow = species("Archispirostreptus gigas", mature_days=1095, young_survival="0.3")
    of = line(of=slow, young_kept=0, harvest_share=None)
    culture = tub(of)
    with time_machine.travel(NOW):
        record_count(culture.pk, "young", "eye", {"from": 100, "to": 250}, by=keeper)
        fresh = stock_of(of.pk).stages["young"]
    later = [stock_of(of.pk, on=NOW.date() + timedelta(days=days)).stages["young"] for days in (90, 182, 184)]
    assert fresh.free > later[0].free > later[1].free > 0
    assert (later[2].free, later[2].is_stale) == (0, True)
    assert later[2].tubs[0].lower > 0
    wants = [rules.Want(of.pk, "young", 5)]
    (said,) = rules.shortages(wants, stock_by_line([of.pk], on=NOW.date() + timedelta(days=184)))
    assert f"Count tub {culture.number} first: an old count sells nothing." in said


def test_adults_are_kept_by_the_minimum_and_the_demographic_floor(keeper: User) -> None:
    culture = tub(of := line(adults_kept=0, each_sex_kept=0))
    record_count(culture.pk, "adults", "hand", {"counted": 40}, by=keeper)
    stock = stock_of(of.pk).stages["adults"]
    assert stock.kept_back == 10  # at half females; fewer end by bad luck more often than about 1 in 20
    assert stock.free == 30


def test_a_sexed_promise_must_leave_the_sexes(keeper: User) -> None:
    culture = tub(of := line(adults_kept=10))
    record_count(culture.pk, "adults", "hand", {}, sexed=Sexed(5, 9, 20), by=keeper)

    def short(number: int, males: int, females: int) -> list[str]:
        return rules.shortages([rules.Want(of.pk, "adults", number, males, females)], stock_by_line([of.pk]))

    assert short(2, 2, 0) == []
    promise(of.pk, 1, "adults", males=1)
    (said,) = short(2, 2, 0)
    assert said.startswith("Armadillidium vulgare ‘Harbour’: Only 1 male can be spared: 4 known to be there")
    assert "3 kept back" in said
    assert short(6, 0, 6) == []
    other = tub(line("Slate", adults_kept=0))
    record_count(other.pk, "adults", "hand", {"counted": 90}, by=keeper)
    (said,) = rules.shortages([rules.Want(other.line_id, "adults", 2, 1, 1)], stock_by_line([other.line_id]))
    assert "were never counted" in said


def test_all_shortages_are_named_at_once_in_the_order_asked(keeper: User) -> None:
    first, second = line("Ash"), line("Slate", not_for_sale="mites")
    wants = [
        rules.Want(first.pk, "young", 3),
        rules.Want(second.pk, "young", 3, label="the slate ones"),
        rules.Want(first.pk, "cups", 1),
    ]
    with pytest.raises(rules.NotEnoughSurplus) as refused:
        rules.require(wants, stock_by_line([first.pk, second.pk]))
    assert [said.split(".")[0] for said in refused.value.sentences] == [
        "No young can be spared from Armadillidium vulgare ‘Ash’: about 0 young at least, 20 kept back, none promised",
        "Nothing can be promised from the slate ones: it is not for sale (mites)",
        "Armadillidium vulgare ‘Ash’ is not sold as cups, only as adults and young",
    ]


def test_a_tub_named_in_a_want_must_cover_it_alone(keeper: User) -> None:
    of = line(young_kept=0, harvest_share=None)
    small, large = tub(of), tub(of)
    record_count(small.pk, "young", "hand", {"counted": 6}, by=keeper)
    record_count(large.pk, "young", "hand", {"counted": 60}, by=keeper)
    stocks = stock_by_line([of.pk])
    wants = [rules.Want(of.pk, "young", 4, culture_id=small.pk), rules.Want(of.pk, "young", 3, culture_id=small.pk)]
    (said,) = rules.shortages(wants, stocks)
    assert said.startswith(f"Only 6 can be spared from tub {small.number} of")
    assert rules.shortages([rules.Want(of.pk, "young", 7)], stocks) == []
    (said,) = rules.shortages([rules.Want(of.pk, "young", 1, culture_id=10**6)], stocks)
    assert "gives no young for sale" in said


def test_cups_promised_and_taken_count_once_and_rest(keeper: User) -> None:
    of = line(sold_by=Line.SoldBy.CUP, cups_per_tub=2, cup_rest_days=28)
    tubs = [tub(of), tub(of)]
    assert stock_of(of.pk).stages["cups"].free == 4
    promise(of.pk, 3, "cups")
    assert stock_of(of.pk).stages["cups"].free == 1
    held = Promise.objects.get()
    with transaction.atomic():
        steps.lock_lines([of.pk])
        for one in tubs:
            steps.pack_from(one, "cups", 1, promise=held, at=timezone.now(), by=keeper)
            assert stock_of(of.pk).stages["cups"].free == 1
    (said,) = rules.shortages([rules.Want(of.pk, "cups", 2)], stock_by_line([of.pk]))
    assert said.startswith(f"Only 1 can be spared from {of}: 2 rested, 1 promised. The next cup is rested on ")
    later = timezone.localdate() + timedelta(days=28)
    assert stock_of(of.pk, on=later).stages["cups"].free == 3


@pytest.mark.parametrize(("zone", "hour"), [("America/New_York", 1), ("Australia/Sydney", 22)])
def test_a_cup_rests_from_the_keepers_own_day_wherever_that_is(keeper: User, zone: str, hour: int) -> None:
    of = line(sold_by=Line.SoldBy.CUP, cup_rest_days=28)
    culture, at = tub(of), datetime(2026, 3, 2, hour, tzinfo=UTC)  # not the day that it is there
    with timezone.override(ZoneInfo(zone)), time_machine.travel(at, tick=False):
        held, today = promise(of.pk, 1, "cups"), timezone.localdate()
        with transaction.atomic():
            steps.lock_lines([of.pk])
            steps.pack_from(culture, "cups", 1, promise=held, at=timezone.now(), by=keeper)
        free = [stock_of(of.pk, on=today + timedelta(days=days)).free("cups") for days in (0, 27, 28)]
        assert free == [0, 0, 1]
        assert list(ledger_check.differences()) == []


def test_a_row_of_cups_that_still_holds_days_reads_the_same_and_is_proven(keeper: User) -> None:
    of = line(sold_by=Line.SoldBy.CUP, cup_rest_days=28)
    with transaction.atomic():
        steps.lock_lines([of.pk])
        steps.pack_from(tub(of), "cups", 1, promise=None, at=NOW, by=keeper)
    Belief.objects.update(used={"taken": [[NOW.date().isoformat(), 1]]})
    free = [stock_of(of.pk, on=NOW.date() + timedelta(days=days)).free("cups") for days in (27, 28)]
    assert free == [0, 1]
    assert list(ledger_check.differences()) == []


@pytest.mark.parametrize(("zone", "hour"), [("America/New_York", 1), ("Australia/Sydney", 22)])
def test_a_count_ages_by_the_keepers_own_days(keeper: User, zone: str, hour: int) -> None:
    of, at = line(harvest_share=None), datetime(2026, 3, 2, hour, tzinfo=UTC)  # not the day that it is there
    with timezone.override(ZoneInfo(zone)), time_machine.travel(at + timedelta(minutes=1), tick=False):
        counted, noon = timezone.localdate(at), timezone.localtime(at).replace(hour=12) - timedelta(days=1)
        one, other = tub(of), tub(of)
        record_count(one.pk, "adults", "hand", {"counted": 40}, happened_at=timezone.localtime(at), by=keeper)
        assert tub_stock(one, "adults").lower == 40, "every animal was in the hand a minute ago"
        working = entry_text.working_of(book_of(one).held(one.pk, "adults"), "adults", counted, of)
        assert working is not None
        assert (working.lower, working.likely) == (40, 40)
        record_count(other.pk, "adults", "hand", {"counted": 40}, happened_at=noon, by=keeper)
    for days in (1, 30, 90):
        with timezone.override(ZoneInfo(zone)):
            tubs = stock_of(of.pk, on=counted + timedelta(days=days)).stages["adults"]
            sooner = stock_of(of.pk, on=counted + timedelta(days=days - 1)).stages["adults"]
        evening, day_before = tubs.tub(one.pk), sooner.tub(other.pk)
        assert evening is not None
        assert day_before is not None
        assert evening.lower == day_before.lower
