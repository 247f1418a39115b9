"""A visit of the round: what was seen, guessed and picked out stands and falls together; a sheet is all or none."""

import pytest
from django.contrib.auth.models import User

from breeder.cultures import ledger_check
from breeder.cultures.actions.corrections import correct_entry
from breeder.cultures.actions.counts import record_count
from breeder.cultures.actions.rounds import BadRound, Visit, record_round
from breeder.cultures.count_entry import BadFact
from breeder.cultures.entry_text import sentence_of
from breeder.cultures.models import Entry
from tests.build import line, tub
from tests.cultures.book import day, tub_stock

pytestmark = pytest.mark.django_db


def test_a_count_a_look_and_deaths_of_one_visit_are_taken_back_together(keeper: User) -> None:
    here = tub()
    visit = Visit(here.pk, seen=("mould",), eye=(("young", "50–100"),), died=(("young", 3),), note="by the lamp")
    recorded = record_round([visit], by=keeper)
    assert [entry.kind for entry in Entry.objects.order_by("pk")] == ["count", "looked", "change"]
    assert (recorded.entry.kind, recorded.entry.note) == ("count", "by the lamp")
    correct_entry(recorded.entry.pk, by=keeper)
    assert Entry.objects.filter(kind="correct").count() == 3


def test_the_dead_were_picked_out_before_the_living_were_guessed_at(keeper: User) -> None:
    plain, with_dead = tub(of := line()), tub(of)
    record_round([Visit(plain.pk, eye=(("young", "50–100"),))], by=keeper)
    record_round([Visit(with_dead.pk, eye=(("young", "50–100"),), died=(("young", 5),))], by=keeper)
    assert tub_stock(with_dead).lower == tub_stock(plain).lower


def test_deaths_alone_are_a_look_too_and_lower_what_is_there(keeper: User) -> None:
    here = tub()
    record_count(here.pk, "adults", "hand", {"counted": 40}, by=keeper)
    record_round([Visit(here.pk, died=(("adults", 4),))], by=keeper)
    assert tub_stock(here, "adults").lower == 36
    assert sentence_of(Entry.objects.get(kind="looked")) == "Looked: dead."


def test_the_facts_of_a_visit_are_proven_by_replay_before_and_after_they_are_taken_back(keeper: User) -> None:
    eye = (("adults", "10–25"), ("young", "50–100"))
    visit = Visit(tub().pk, seen=("mould",), eye=eye, died=(("adults", 2), ("young", 3)))
    recorded = record_round([visit], by=keeper)
    assert list(ledger_check.differences()) == []
    correct_entry(recorded.entry.pk, by=keeper)
    assert list(ledger_check.differences()) == []


def test_a_note_alone_says_that_somebody_looked(keeper: User) -> None:
    record_round([Visit(tub().pk, note="lid cracked")], by=keeper)
    assert sentence_of(Entry.objects.get()) == "Looked. lid cracked"


def test_a_sheet_is_written_whole_or_not_at_all_and_every_wrong_tub_is_named(keeper: User) -> None:
    good, late, empty = tub(), tub(started_on=day(20).date()), tub()
    visits = [Visit(good.pk, seen=("well",)), Visit(late.pk, seen=("well",)), Visit(empty.pk)]
    with pytest.raises(BadRound) as refused:
        record_round(visits, happened_at=day(10), by=keeper)
    assert set(refused.value.by_tub) == {late.pk, empty.pk}
    assert not Entry.objects.exists()
    record_round(visits[:1], happened_at=day(10), by=keeper)
    assert Entry.objects.get().happened_at == day(10)


@pytest.mark.parametrize(
    "visit",
    [
        {"eye": (("young", "a million"),)},
        {"eye": (("cups", "50–100"),)},
        {"died": (("young", 0),)},
        {"died": (("young", 10**6),)},
        {"seen": ("dragons",)},
    ],
)
def test_what_cannot_have_happened_is_refused_in_a_sentence(keeper: User, visit: dict) -> None:
    with pytest.raises(BadFact) as refused:
        record_round([Visit(tub().pk, **visit)], by=keeper)
    assert refused.value.messages[0].endswith(".")
    with pytest.raises(BadFact):
        record_round([], by=keeper)
