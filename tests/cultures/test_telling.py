"""Entries and workings as the keeper reads them."""

import re
from typing import Any

import pytest
import time_machine
from django.contrib.auth.models import User
from django.test import Client

from breeder.core.reserve.breeding_minimum import KnownSexes, sexed_sale
from breeder.cultures import entry_text, rules
from breeder.cultures.actions.changes import move_animals, record_change
from breeder.cultures.actions.corrections import correct_entry
from breeder.cultures.actions.counts import Sexed, care_for_shelf, record_count, record_looked
from breeder.cultures.actions.crashes import mark_crashed
from breeder.cultures.actions.states import set_not_for_sale, set_purpose
from breeder.cultures.actions.tubs import Place, close_tub, split_tub, start_tub
from breeder.cultures.count_preview import preview
from breeder.cultures.models import Culture, Entry
from breeder.cultures.queries.stock import stock_by_line, stock_of
from breeder.cultures.queries.tubs import book_of, entry_rows
from breeder.cultures.sex_counts import Known, still_known
from breeder.species.models import Line
from tests.build import line, species, tub
from tests.cultures.book import day, promise

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _clock() -> Any:
    with time_machine.travel(day(60), tick=False):
        yield


def said(culture: Culture) -> list[str]:
    """Return a tub's entries as sentences, oldest first."""
    rows = reversed(entry_rows(culture))
    return [entry_text.sentence_of(row.entry, row.other_number) for row in rows]


def test_every_kind_of_entry_is_a_sentence(keeper: User) -> None:
    first = start_tub(line().pk, Place("A"), started_on=day(0).date(), by=keeper).entry.culture
    other = tub(first.line)
    pk = first.pk
    portions = {"counts": [9, 9], "sizes": [50, 50], "whole": 500}
    record_count(pk, "young", "eye", {"from": 50, "to": 100}, happened_at=day(1), by=keeper)
    record_count(pk, "young", "portions", portions, happened_at=day(2), by=keeper)
    record_change(pk, "adults", 3, "died", males=1, females=2, happened_at=day(3), note="Dry.", by=keeper)
    move_animals(pk, other.pk, "young", 1, happened_at=day(4), by=keeper)
    record_looked(pk, ["mites"], happened_at=day(5), by=keeper)
    wrong = record_looked(pk, happened_at=day(6), by=keeper).entry
    care_for_shelf("A", ["misted", "fed"], happened_at=day(7), by=keeper)
    set_purpose(pk, "quarantine", quarantine_until=day(70).date(), by=keeper)
    set_not_for_sale(pk, "mites", by=keeper)
    correct_entry(wrong.pk, by=keeper)
    close_tub(pk, reason="Died out.", by=keeper)
    assert said(first) == [
        "Purpose: breeding.",
        "Counted 50–100 young, by eye: about 71, at least 36 by this count alone.",
        "Counted young, portions (18 in 2 portions): about 90, at least 23 by this count alone.",
        "3 adults (1 male, 2 females) died. Dry.",
        f"1 young moved over to tub {other.number}.",
        "Looked: mites.",
        "Looked, all well.",
        "Fed, misted.",
        "Purpose: quarantine until 10 May 2026.",
        "Not for sale: mites.",
        "Takes back the look of 7 March, 12:00.",
        "Tub closed. Died out.",
    ]
    assert f"1 young moved in from tub {first.number}." in said(other)


def test_the_keepers_own_words_stay_as_they_were_written(keeper: User) -> None:
    culture = tub()
    reason = set_not_for_sale(culture.pk, "waits for Dr. May’s answer.", by=keeper).entry
    crash = mark_crashed(culture.pk, "all dead, the Exo mat failed.", by=keeper).entry
    undone = correct_entry(reason.pk, by=keeper).entry
    correct_entry(undone.pk, by=keeper)
    assert entry_text.sentence_of(crash) == "Crashed on 30 April 2026: all dead, the Exo mat failed."
    assert said(culture)[0] == "Not for sale: waits for Dr. May’s answer."
    assert said(culture)[-2:] == [
        "Takes back the setting of 30 April, 12:00.",
        "Takes back the correction of 30 April, 12:00.",
    ]


def test_a_half_tipped_over_is_told_on_both_sides(keeper: User) -> None:
    first = tub()
    record_count(first.pk, "young", "hand", {"counted": 40}, happened_at=day(1), by=keeper)
    child = split_tub(first.pk, Place("B"), share=0.5, happened_at=day(1), by=keeper).entry.culture
    assert f"Half of the young tipped over to tub {child.number}: about 20." in said(first)
    assert f"Half of the young tipped in from tub {first.number}: about 20." in said(child)


def test_the_working_goes_from_the_count_to_the_safe_number(keeper: User) -> None:
    culture = tub()
    record_count(culture.pk, "adults", "eye", {"from": 50, "to": 100}, happened_at=day(0), by=keeper)
    record_change(culture.pk, "adults", 4, "died", happened_at=day(3), by=keeper)
    held = book_of(culture).held(culture.pk, "adults")
    working = entry_text.working_of(held, "adults", day(60).date(), culture.line)
    assert working is not None
    assert working.last_said == "50–100 adults"
    assert working.steps[0] == "Counted on 1 March 2026, by eye."
    assert "Geometric middle of 50 and 100" in working.steps[1]
    assert "This is the first count, so it stands alone." in working.steps
    assert any(step.startswith("Aged to today: from about 71 to 65") for step in working.steps)
    assert "Since then −4, known to the animal." in working.steps
    assert working.steps[-1] == f"Safe to rely on, 95% sure: {working.lower}. Likely: about 61."


@pytest.mark.parametrize(
    ("method", "given", "on", "says"),
    [
        ("eye", {"from": 50, "to": 100}, 59, "weighs"),
        ("eye", {"from": 250, "to": 500}, 59, "too far from your count of 31 March (counted by hand)"),
        ("hand", {"counted": 70}, 59, "every animal was counted, so this overrules what was known. 5 left after it."),
        ("eye", {"from": 50, "to": 100}, 10, "a later count stands, so this one only fills in the past"),
    ],
)
def test_the_preview_says_why(keeper: User, method: str, given: dict[str, int], on: int, says: str) -> None:
    culture = tub()
    record_count(culture.pk, "young", "hand", {"counted": 60}, happened_at=day(30), by=keeper)
    record_change(culture.pk, "young", 5, "died", happened_at=day(60), by=keeper)
    shown = preview(culture, "young", method, given, day(on))
    assert says in shown.sentence
    before = Entry.objects.count()
    relied = record_count(culture.pk, "young", method, given, happened_at=day(on), by=keeper)
    assert Entry.objects.count() == before + 1
    stock = stock_of(culture.line_id).stages["young"].tub(culture.pk)
    assert stock is not None
    assert shown.sentence.startswith(f"The book would rely on {stock.lower}:")
    assert relied.entry.estimate == pytest.approx(shown.estimate)


def test_sexes_never_say_more_than_the_safe_number() -> None:
    assert still_known(Known(5, 9), 30) == Known(5, 9)
    assert still_known(Known(5, 9), 12) == Known(3, 7)
    assert still_known(Known(1, 9), 4) == Known(0, 3)
    assert still_known(Known(), 4) == Known()


def test_one_animal_is_one(keeper_client: Client, keeper: User) -> None:
    of = line(irreplaceable=True, adults_kept=30, of=species(generation_days=200))
    culture = tub(of)
    record_count(culture.pk, "adults", "hand", {}, sexed=Sexed(1, 0, 0), happened_at=day(60), by=keeper)
    record_looked(culture.pk, happened_at=day(60), by=keeper)
    promise(of.pk, 1, "adults")
    cups = tub(line("Cups", sold_by=Line.SoldBy.CUP)).line
    pages = (f"/lines/{of.pk}/?wanted=1&stage=adults", f"/tubs/{culture.number}/", f"/lines/{cups.pk}/", "/lines/")
    said = " ".join(keeper_client.get(page).content.decode() for page in (*pages, "/round/list/"))
    wrong = r"(?<![\d.])1 (?:adults|cups|males|females|looks|breeders|tubs|animals)\b|1 adult are"
    assert re.findall(rf".{{20}}(?:{wrong}).{{20}}", said) == []
    for right in ("1 adult is sure, 30 must stay", "1 cup rested", "1 male and 0 females are", "1 breeder at least"):
        assert right in said, right
    ones = rules.shortages([rules.Want(of.pk, "adults", 5)], stock_by_line([of.pk]))
    assert "about 1 adult at least" in ones[0]


def test_a_sex_of_which_more_is_promised_than_is_known_is_told_as_none() -> None:
    short = sexed_sale(KnownSexes(1, 4), KnownSexes(1, 0), promised=KnownSexes(3, 0))
    assert short.why[0] == "No males can be spared: 0 known to be there and not promised, 3 kept back."
    assert (
        sexed_sale(KnownSexes(1, 9), KnownSexes(0, 1), promised=KnownSexes(3, 0))
        .why[0]
        .startswith("0 males are known to be there")
    )
