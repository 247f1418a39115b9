"""Mistakes stay in the book, struck through; the ledger itself refuses to be changed."""

import pytest
from django.contrib.auth.models import User
from django.db import DatabaseError, connection, transaction
from django.utils import timezone

from breeder.cultures import steps
from breeder.cultures.actions.changes import move_animals, record_change
from breeder.cultures.actions.corrections import correct_entry
from breeder.cultures.actions.counts import record_count, record_looked
from breeder.cultures.actions.crashes import mark_crashed
from breeder.cultures.actions.states import set_not_for_sale, set_purpose
from breeder.cultures.actions.tubs import Place, merge_tubs, split_tub
from breeder.cultures.count_entry import BadFact
from breeder.cultures.models import Ancestry, Belief, Culture, Entry, Promise
from breeder.cultures.queries.stock import stock_of
from breeder.cultures.queries.tubs import entry_rows
from tests.build import line, tub
from tests.cultures.book import beliefs, lower

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("verb", ["UPDATE breeder_entry SET number = 1", "DELETE FROM breeder_entry"])
def test_the_database_refuses_to_change_or_remove_an_entry(keeper: User, verb: str) -> None:
    record_change(tub().pk, "young", 5, "died", by=keeper)
    with pytest.raises(DatabaseError, match="never changed or removed"), transaction.atomic():
        connection.cursor().execute(verb)
    assert Entry.objects.get().number == -5


@pytest.mark.skipif(connection.vendor != "sqlite", reason="only SQLite has INSERT OR REPLACE")
@pytest.mark.parametrize("verb", ["INSERT OR REPLACE", "REPLACE", "INSERT OR IGNORE"])
def test_an_entry_is_not_replaced_by_another_under_its_number(keeper: User, verb: str) -> None:
    """SQLite removes the older row without asking the trigger before a DELETE (sqlite.org/lang_conflict.html)."""
    record_change(tub().pk, "young", 5, "died", by=keeper)
    columns = [field.column for field in Entry._meta.concrete_fields]
    values = ", ".join("-1" if name == "number" else name for name in columns)
    other = f"{verb} INTO breeder_entry ({', '.join(columns)}) SELECT {values} FROM breeder_entry"
    with pytest.raises(DatabaseError, match="never changed or removed"), transaction.atomic():
        connection.cursor().execute(other)
    assert Entry.objects.get().number == -5


def test_a_wrong_entry_no_longer_counts_and_is_still_there(keeper: User) -> None:
    culture = tub(line(harvest_share=None))
    record_count(culture.pk, "young", "hand", {"counted": 40}, by=keeper)
    before = beliefs(culture)
    wrong = record_change(culture.pk, "young", 30, "died", by=keeper).entry
    correction = correct_entry(wrong.pk, note="it was 3", by=keeper).entry
    assert beliefs(culture) == before
    assert correction.corrects == wrong
    correct_entry(correction.pk, by=keeper)
    assert lower(culture) == 10
    rows = entry_rows(culture)
    assert [row.is_void for row in rows if row.entry.pk in (wrong.pk, correction.pk)] == [True, False]


def test_an_entry_is_put_right_once(keeper: User) -> None:
    entry = record_looked(tub().pk, by=keeper).entry
    correct_entry(entry.pk, by=keeper)
    with pytest.raises(BadFact, match="put right already"):
        correct_entry(entry.pk, by=keeper)
    with pytest.raises(BadFact, match="not in the book"):
        correct_entry(10**6, by=keeper)


def test_a_move_is_taken_back_on_both_sides_from_either(keeper: User) -> None:
    first, second = tub(of := line(harvest_share=None)), tub(of)
    record_count(first.pk, "young", "hand", {"counted": 40}, by=keeper)
    for side in ("out", "in"):
        out = move_animals(first.pk, second.pk, "young", 15, by=keeper).entry
        inside = Entry.objects.get(other_side=out, kind="change")
        correct_entry(out.pk if side == "out" else inside.pk, by=keeper)
        assert lower(first) == 40
        assert Belief.objects.filter(culture=second).count() == 0


def test_a_first_count_taken_back_leaves_no_belief(keeper: User) -> None:
    culture = tub()
    entry = record_count(culture.pk, "young", "hand", {"counted": 40}, by=keeper).entry
    correct_entry(entry.pk, by=keeper)
    assert not Belief.objects.exists()


def test_a_closing_taken_back_opens_the_tub_and_a_merge_pours_back(keeper: User) -> None:
    first, second = tub(of := line(harvest_share=None)), tub(of)
    record_count(first.pk, "young", "hand", {"counted": 40}, by=keeper)
    record_count(second.pk, "young", "hand", {"counted": 5}, by=keeper)
    closing = merge_tubs(first.pk, second.pk, by=keeper).entry
    assert lower(second) == 45
    tipped = Entry.objects.filter(kind="about", culture=second, stage="young").get()
    taken_back = correct_entry(tipped.pk, by=keeper).entry
    assert Culture.objects.get(pk=first.pk).closed_on is None
    assert not Ancestry.objects.exists()
    assert (lower(first), lower(second)) == (40, 5)
    correct_entry(taken_back.pk, by=keeper)
    assert Culture.objects.get(pk=first.pk).closed_on == timezone.localdate(closing.happened_at)
    assert Ancestry.objects.get().child == second
    assert lower(second) == 45


def test_a_packing_taken_back_is_held_for_its_promise_again(keeper: User) -> None:
    culture = tub(of := line(young_kept=0, harvest_share=None))
    record_count(culture.pk, "young", "hand", {"counted": 40}, by=keeper)
    with transaction.atomic():
        steps.lock_lines([of.pk])
        held = steps.set_aside(of.pk, "young", 12, at=timezone.now())
        packed = steps.pack_from(culture, "young", 5, promise=held, at=timezone.now(), by=keeper)
    assert (held.number, stock_of(of.pk).free("young")) == (7, 28)
    correct_entry(packed.pk, by=keeper)
    assert (Promise.objects.get().number, stock_of(of.pk).free("young")) == (12, 28)


def test_a_purpose_taken_back_is_what_it_was_but_a_mixed_tub_with_others_in_it_stays_mixed(keeper: User) -> None:
    culture = tub()
    slip = set_purpose(culture.pk, "mixed", by=keeper).entry
    correct_entry(slip.pk, by=keeper)
    assert Culture.objects.get(pk=culture.pk).purpose == "breeding"
    meant = set_purpose(culture.pk, "mixed", by=keeper).entry
    record_change(culture.pk, "young", 3, "received", by=keeper)
    with pytest.raises(BadFact, match="never goes back"):
        correct_entry(meant.pk, by=keeper)


def test_what_was_set_later_stays_when_something_earlier_is_taken_back(keeper: User) -> None:
    culture = tub()
    reason = set_not_for_sale(culture.pk, "waits for its name", by=keeper).entry
    crash = mark_crashed(culture.pk, "all dead", by=keeper).entry
    undone = correct_entry(reason.pk, by=keeper).entry
    assert Culture.objects.get(pk=culture.pk).not_for_sale.startswith("crashed on ")
    correct_entry(crash.pk, by=keeper)
    culture.refresh_from_db()
    assert (culture.not_for_sale, culture.crashed_on) == ("", None), "the reason before it was taken back too"
    correct_entry(undone.pk, by=keeper)
    assert Culture.objects.get(pk=culture.pk).not_for_sale == "waits for its name"


def test_a_tub_that_was_mixed_after_all_is_mixed_whatever_was_set_since(keeper: User) -> None:
    culture = tub()
    slip = correct_entry(set_purpose(culture.pk, "mixed", by=keeper).entry.pk, by=keeper).entry
    set_purpose(culture.pk, "growing", by=keeper)
    correct_entry(slip.pk, by=keeper)
    assert Culture.objects.get(pk=culture.pk).purpose == "mixed"


def test_a_half_taken_back_leaves_the_whole(keeper: User) -> None:
    culture = tub(line(harvest_share=None))
    record_count(culture.pk, "young", "hand", {"counted": 40}, by=keeper)
    child = split_tub(culture.pk, Place("B"), share=0.5, by=keeper).entry.culture
    out = Entry.objects.get(kind="about", culture=culture, stage="young")
    assert lower(culture) < 20
    correct_entry(out.pk, by=keeper)
    assert lower(culture) == 40
    assert not Belief.objects.filter(culture=child, stage="young").exists()
