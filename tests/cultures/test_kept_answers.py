"""What a line can spare is kept between pages, and is never older than the rows that it rests on."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.contrib.auth.models import User
from django.utils import timezone

from breeder.cultures import eye_bias
from breeder.cultures.actions.changes import record_change
from breeder.cultures.actions.corrections import correct_entry
from breeder.cultures.actions.counts import record_count, record_looked
from breeder.cultures.line_surplus import stock_from
from breeder.cultures.models import Culture, Entry
from breeder.cultures.queries.last_looks import NEVER, last_looks
from breeder.cultures.queries.offline_round import carried_on
from breeder.cultures.queries.stock import kept_stock, read_lines, stock_by_line, stock_of
from breeder.cultures.queries.tubs import tub_rows
from breeder.species.models import Line, Species
from tests.build import NOW, line, tub
from tests.cultures.book import promise

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(hours=1)


@pytest.fixture
def kept(keeper: User) -> Line:
    of = line(young_kept=0, harvest_share=None)
    with time_machine.travel(NOW):
        record_count(tub(of).pk, "young", "eye", {"from": 100, "to": 250}, by=keeper)
        record_count(tub(of).pk, "young", "hand", {"counted": 30}, by=keeper)
    return of


CHANGES: list[Callable[[Line], Any]] = [
    lambda of: promise(of.pk, 5),
    lambda of: Line.objects.update(young_kept=7),
    lambda of: Line.objects.update(not_for_sale="they are shown on Sunday"),
    lambda of: Species.objects.update(share_female="0.75"),
    lambda of: Culture.objects.filter(pk=of.cultures.first().pk).update(not_for_sale="mites"),
    lambda of: Culture.objects.filter(pk=of.cultures.first().pk).update(closed_on=NOW.date()),
    lambda of: record_change(of.cultures.first().pk, "young", 3, "died", happened_at=LATER, by=None),
    lambda of: record_count(of.cultures.first().pk, "adults", "hand", {"counted": 9}, happened_at=LATER, by=None),
]
NAMES = ["promise", "young kept", "not for sale", "species", "tub kept out", "tub closed", "deaths", "another count"]


@pytest.mark.parametrize("change", CHANGES, ids=NAMES)
def test_an_answer_is_kept_until_a_row_of_the_line_changes(kept: Line, change: Callable[[Line], Any]) -> None:
    with time_machine.travel(NOW + timedelta(days=1)):
        first = stock_of(kept.pk)
        assert stock_of(kept.pk) is first
        change(kept)
        again = stock_of(kept.pk)
        assert again != first
        (read,) = read_lines([kept.pk])
        assert again == stock_from(read.rows, timezone.localdate())


def test_an_answer_is_of_its_day_and_time_zone(kept: Line) -> None:
    with time_machine.travel(NOW):
        today = stock_of(kept.pk)
        assert stock_of(kept.pk, on=(NOW + timedelta(days=60)).date()).free("young") < today.free("young")
        with timezone.override("Pacific/Kiritimati"):  # there it is tomorrow, and the count is of tomorrow too
            assert stock_of(kept.pk).stages["young"].counted_on == (NOW + timedelta(days=1)).date()
        assert stock_of(kept.pk) == today


def test_answers_do_not_pile_up(kept: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("breeder.cultures.kept_answers.MOST_LINES", 2)
    for number in range(5):
        tub(line(f"More {number}"))
    stock_by_line()
    assert len(kept_stock.kept) <= 2


def test_a_look_that_was_taken_back_is_none_and_one_that_was_put_back_is_one(keeper: User) -> None:
    culture = tub(line())
    with time_machine.travel(NOW):
        early = record_looked(culture.pk, happened_at=NOW - timedelta(days=9), by=keeper).entry
        late = record_looked(culture.pk, ["mites"], happened_at=NOW - timedelta(days=2), by=keeper).entry

        def last() -> Any:
            return last_looks(Culture.objects.all()).get(culture.pk, NEVER)

        assert (last().seen_at, last().seen) == (late.happened_at, ("mites",))
        taken_back = correct_entry(late.pk, by=keeper).entry
        assert (last().seen_at, last().seen) == (early.happened_at, ("well",))
        assert tub_rows()[0].looked_on == timezone.localdate(early.happened_at)
        correct_entry(taken_back.pk, by=keeper)
        assert (last().seen_at, last().seen) == (late.happened_at, ("mites",))
        correct_entry(early.pk, by=keeper)
        correct_entry(late.pk, by=keeper)
        assert last() == NEVER


def test_what_lies_far_before_a_sort_is_not_read_for_pairs(keeper: User) -> None:
    culture = tub(line())
    guess = {"seen": 40, "factor": 2.0}
    for days in (300, 200, 100, 33, 20):
        at = timezone.now() - timedelta(days=days)
        record_count(culture.pk, "young", "piece", guess, happened_at=at, by=keeper)
    at = timezone.now() - timedelta(days=1)
    record_count(culture.pk, "young", "full_sort", {"counted": 100}, happened_at=at, by=keeper)
    assert len(list(eye_bias._before_sorts())) == 2
    assert [one.pair.guess for one in eye_bias.all_pairs()[keeper.pk, "piece"]] == [pytest.approx(80)]
    assert Entry.objects.count() == 6


def test_a_tub_of_a_closed_line_is_walked_until_it_is_closed_too(keeper: User) -> None:
    culture = tub(line("Ended", status=Line.Status.CLOSED))
    record_count(culture.pk, "young", "hand", {"counted": 12}, by=keeper)
    (carried,) = carried_on(timezone.localdate())
    assert (carried.tub, carried.tub.line.form_name) == (culture, "Ended")
    assert carried.said["young"].startswith("Last: counted by hand, today.")
