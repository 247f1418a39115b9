"""Tubs begin and end; their numbers are plain and never used again; a mixed tub never goes back into a line."""

from datetime import date, timedelta

import pytest
import time_machine
from django.contrib.auth.models import User
from django.db import transaction
from django.utils import timezone

from breeder.base.models import LogRow
from breeder.cultures import quarantine, steps
from breeder.cultures.actions.changes import record_change
from breeder.cultures.actions.corrections import correct_entry
from breeder.cultures.actions.counts import care_for_shelf, record_count, record_looked
from breeder.cultures.actions.crashes import mark_crashed, set_sister_apart
from breeder.cultures.actions.minimums import set_minimum
from breeder.cultures.actions.states import set_not_for_sale, set_purpose
from breeder.cultures.actions.tubs import Animals, Place, close_tub, merge_tubs, split_tub, start_tub
from breeder.cultures.count_entry import BadFact
from breeder.cultures.models import Ancestry, Belief, Culture, Entry
from breeder.cultures.queries.related_tubs import sisters_of
from breeder.cultures.queries.stock import stock_of
from breeder.cultures.queries.tubs import line_rows, tub_rows
from breeder.species.models import Line
from tests.build import line, species, tub
from tests.cultures.book import lower, promise

pytestmark = pytest.mark.django_db


def test_a_number_is_never_used_again(keeper: User) -> None:
    of = line()
    first = start_tub(of.pk, Place("A"), by=keeper).entry.culture
    close_tub(first.pk, reason="died out", by=keeper)
    second = start_tub(of.pk, Place("A"), by=keeper).entry.culture
    assert second.number == first.number + 1


def test_animals_received_into_a_new_tub_are_known_exactly(keeper: User) -> None:
    of = line(young_kept=0, harvest_share=None)
    received = (Animals("adults", 12, males=4, females=8), Animals("young", 30))
    culture = start_tub(of.pk, Place("A", 3), received=received, by=keeper).entry.culture
    assert (lower(culture, "adults"), lower(culture, "young")) == (12, 30)
    row = Belief.objects.get(culture=culture, stage="adults")
    assert (row.males, row.females, row.counted_at) == (4, 8, None)


def test_a_tub_that_was_there_before_the_book_waits_for_its_count(keeper: User) -> None:
    of = line()
    begun = start_tub(of.pk, Place("A"), started_on=date(2024, 5, 1), by=keeper).entry.culture
    assert not Belief.objects.exists()
    (row,) = tub_rows(line_id=of.pk)
    assert (row.tub, row.count_due) == (begun, True)


def test_tubs_are_listed_as_a_keeper_walks_along_them() -> None:
    of = line()
    walk = [("B", 1), ("A", 2), ("A", 1), ("A", 1)]
    last, third, first, second = (tub(of, shelf=shelf, place_on_shelf=place).number for shelf, place in walk)
    assert [row.tub.number for row in tub_rows(line_id=of.pk)] == [first, second, third, last]


def test_a_closed_tub_takes_no_entry_and_no_longer_counts(keeper: User) -> None:
    culture = tub(line(harvest_share=None, young_kept=0))
    record_count(culture.pk, "young", "hand", {"counted": 40}, by=keeper)
    recorded = close_tub(culture.pk, reason="died out", by=keeper)
    assert recorded.breaks[0] == f"The book still relied on 40 young in tub {culture.number}; they no longer count."
    assert stock_of(culture.line_id).free("young") == 0
    with pytest.raises(BadFact, match="was closed on"):
        record_looked(culture.pk, by=keeper)
    yesterday = timezone.now() - timedelta(days=1)  # yesterday's paper may still be typed in
    record_change(culture.pk, "young", 2, "died", happened_at=yesterday, by=keeper)
    with pytest.raises(BadFact, match="needs a reason"):
        close_tub(tub().pk, reason=" ", by=keeper)


def test_no_tub_is_begun_in_a_closed_line_or_in_the_future(keeper: User) -> None:
    with pytest.raises(BadFact, match="is closed"):
        start_tub(line(status=Line.Status.CLOSED).pk, Place("A"), by=keeper)
    with pytest.raises(BadFact, match="has not come yet"):
        start_tub(line("Slate").pk, Place("A"), started_on=timezone.localdate() + timedelta(days=2), by=keeper)
    with pytest.raises(BadFact, match="needs a shelf"):
        start_tub(line("Ash").pk, Place(" "), by=keeper)
    assert not Culture.objects.exists()


def test_a_crashed_tub_tipped_into_another_says_that_the_other_is_sold_from(keeper: User) -> None:
    of = line()
    first, second = tub(of, not_for_sale="Crashed on 3 May 2026: heat mat failed"), tub(of)
    said = merge_tubs(first.pk, second.pk, by=keeper).breaks
    assert said == (
        f"Tub {first.number} was not for sale (Crashed on 3 May 2026: heat mat failed), and its animals are now in tub "
        f"{second.number}, which is sold from. Keep that out of sale too, if the reason goes with them.",
    )
    assert merge_tubs(second.pk, tub(of).pk, by=keeper).breaks == ()


def test_a_split_and_a_merge_are_kept_as_ancestry(keeper: User) -> None:
    first = tub()
    child = split_tub(first.pk, Place("B"), share=0.5, by=keeper).entry.culture
    merge_tubs(child.pk, first.pk, by=keeper)
    kinds = [(row.child_id, row.parent_id, row.kind) for row in Ancestry.objects.order_by("pk")]
    assert kinds == [(child.pk, first.pk, "split"), (first.pk, child.pk, "merge")]


def test_a_tub_never_counted_may_be_split_and_stays_unknown(keeper: User) -> None:
    first = tub()
    child = split_tub(first.pk, Place("B"), share=0.5, by=keeper).entry.culture
    assert not Belief.objects.exists()
    record_count(first.pk, "young", "hand", {"counted": 10}, by=keeper)
    assert not Belief.objects.filter(culture=child).exists()


@pytest.mark.parametrize("share", [0, 1, -0.5, 7])
def test_an_absurd_share_is_refused(keeper: User, share: float) -> None:
    with pytest.raises(BadFact, match="between 0 and 1"):
        split_tub(tub().pk, Place("B"), share=share, by=keeper)


def test_a_mixed_tub_never_goes_back_into_a_line(keeper: User) -> None:
    culture = tub()
    set_purpose(culture.pk, "mixed", by=keeper)
    with pytest.raises(BadFact, match="never goes back into a line"):
        set_purpose(culture.pk, "breeding", by=keeper)
    with pytest.raises(BadFact, match="filled from it is one too"):
        split_tub(culture.pk, Place("B"), share=0.5, by=keeper)
    with pytest.raises(BadFact, match="is a mixed tub"):
        merge_tubs(culture.pk, tub(culture.line).pk, by=keeper)


def test_two_lines_are_tipped_together_only_in_a_mixed_tub(keeper: User) -> None:
    first, second = tub(), tub()
    with pytest.raises(BadFact, match="or into a mixed tub"):
        merge_tubs(first.pk, second.pk, by=keeper)
    set_purpose(second.pk, "mixed", by=keeper)
    record_count(first.pk, "young", "hand", {"counted": 20}, by=keeper)
    merge_tubs(first.pk, second.pk, by=keeper)
    assert lower(second) == 20


def test_quarantine_keeps_a_tub_out_of_what_is_sold_until_its_day(keeper: User) -> None:
    culture = tub(line(harvest_share=None, young_kept=0))
    record_count(culture.pk, "young", "hand", {"counted": 20}, by=keeper)
    until = timezone.localdate() + timedelta(days=14)
    set_purpose(culture.pk, "quarantine", quarantine_until=until, reason="new", by=keeper)
    assert stock_of(culture.line_id).free("young") == 0
    with pytest.raises(BadFact, match="which is past"):
        set_purpose(culture.pk, "quarantine", quarantine_until=date(2020, 1, 1), by=keeper)
    set_purpose(culture.pk, "breeding", by=keeper)
    assert Culture.objects.get(pk=culture.pk).quarantine_until is None
    assert stock_of(culture.line_id).free("young") == 20


def test_what_comes_back_into_quarantine_never_ends_it_sooner(keeper: User) -> None:
    of = line()
    crashed, sister = tub(of), tub(of)
    mark_crashed(crashed.pk, "all dead", by=keeper)
    set_sister_apart(sister.pk, crashed.pk, quarantine=True, by=keeper)
    sister.refresh_from_db()
    until = sister.quarantine_until
    assert until is not None
    for later in (timedelta(0), timedelta(days=20)):
        with time_machine.travel(timezone.now() + later, tick=False), transaction.atomic():
            steps.lock_lines([of.pk])
            found = quarantine.tub_for(crashed, at=timezone.now(), because="Was in a box", by=keeper)
            ends = max(until, timezone.localdate() + quarantine.QUARANTINE)
        assert (found, found.quarantine_until) == (sister, ends)


def test_a_tub_that_is_not_for_sale_says_why_on_the_line(keeper: User) -> None:
    culture = tub(line(harvest_share=None, young_kept=0))
    record_count(culture.pk, "young", "hand", {"counted": 20}, by=keeper)
    set_not_for_sale(culture.pk, "mites", by=keeper)
    stock = stock_of(culture.line_id).stages["young"]
    assert stock.free == 0
    assert f"Tub {culture.number} is not for sale: mites." in stock.why
    set_not_for_sale(culture.pk, "", by=keeper)
    assert stock_of(culture.line_id).free("young") == 20
    assert Entry.objects.filter(kind="state").count() == 2


def test_a_minimum_is_raised_freely_and_lowered_only_with_a_reason(keeper: User) -> None:
    of = line()
    kept = {"adults_kept": 30, "young_kept": 20, "each_sex_kept": 3}
    set_minimum(of.pk, **kept, by=keeper)
    with pytest.raises(BadFact, match="adults from 30 to 10"):
        set_minimum(of.pk, **kept | {"adults_kept": 10}, by=keeper)
    set_minimum(of.pk, **kept | {"adults_kept": 10}, reason="two tubs stand elsewhere", by=keeper)
    assert Line.objects.get().adults_kept == 10
    assert [row.reason for row in LogRow.objects.order_by("pk")] == ["", "two tubs stand elsewhere"]
    with pytest.raises(BadFact, match="at least 0"):
        set_minimum(of.pk, **kept | {"young_kept": -1}, by=keeper)


def test_a_raised_minimum_says_whom_it_leaves_short(keeper: User) -> None:
    culture = tub(of := line(young_kept=0, harvest_share=None))
    record_count(culture.pk, "young", "hand", {"counted": 20}, by=keeper)
    promise(of.pk, 15)
    (said,) = set_minimum(of.pk, adults_kept=20, young_kept=10, each_sex_kept=3, by=keeper)
    assert "is short by 5 young" in said


def test_care_of_yesterday_is_written_for_the_tubs_that_stood_there_then(keeper: User) -> None:
    of, now = line(), timezone.now()
    old, new = tub(of), tub(of, started_on=timezone.localdate(now))
    done = care_for_shelf("A", ["fed"], happened_at=now - timedelta(days=1), by=keeper)
    assert [one.entry.culture for one in done] == [old]
    assert [one.entry.culture for one in care_for_shelf("A", ["fed"], by=keeper)] == [old, new]
    with pytest.raises(BadFact, match="was started on"):
        care_for_shelf("A", ["fed"], happened_at=now - timedelta(days=9999), by=keeper)


def test_a_look_that_was_taken_back_is_none_in_the_list(keeper: User) -> None:
    culture, at = tub(), timezone.now() - timedelta(days=9)
    record_looked(culture.pk, happened_at=at, by=keeper)
    slip = record_looked(culture.pk, by=keeper).entry
    undone = correct_entry(slip.pk, by=keeper).entry
    assert [row.looked_on for row in tub_rows()] == [timezone.localdate(at)]
    correct_entry(undone.pk, by=keeper)
    assert [row.looked_on for row in tub_rows()] == [timezone.localdate()]


def test_sisters_of_one_day_stand_by_number_and_lines_of_one_name_by_qualifier(keeper: User) -> None:
    mother = tub(line(""))
    children = [split_tub(mother.pk, Place("B"), share=0.5, by=keeper).entry.culture for _ in range(4)]
    assert [sister.tub for sister in sisters_of(mother)] == children
    others = [line("", of=species(qualifier=word)) for word in ("cf.", "aff.", "sp.")]
    found = [row.line for row in line_rows()]
    assert found == [mother.line, others[1], others[0], others[2]]
