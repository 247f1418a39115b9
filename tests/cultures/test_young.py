"""Young that were counted grow up: by the species' own figures or by usual ones, and the keeper is told."""

from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User

from breeder.cultures import actions, entry_text, queries, rules
from breeder.cultures.models import Culture
from tests.build import NOW, line, species, tub

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("_clock")]


@pytest.fixture
def _clock(time_machine: Any) -> None:
    time_machine.move_to(NOW, tick=False)


def counted(by: User, number: int = 200, **figures: Any) -> Culture:
    of = line(of=species("Porcellio scaber", **figures), harvest_share=None, young_kept=0)
    culture = tub(of)
    actions.record_count(culture.pk, "young", "hand", {"counted": number}, by=by)
    return culture


def young(culture: Culture, days: int) -> Any:
    return queries.stock_of(culture.line_id, on=NOW.date() + timedelta(days=days)).stages["young"]


def test_young_age_by_the_species_own_figures(keeper: User) -> None:
    culture = counted(keeper, mature_days=240, young_survival="0.5")
    days = 60
    left = (0.5 ** (days / 240) - 0.5) / 0.5
    assert young(culture, days).likely == int(200 * left) == 136
    assert not any("usual" in said or "common practice" in said for said in young(culture, days).why)


def test_where_the_species_says_nothing_usual_figures_stand_with_their_mark(keeper: User) -> None:
    culture = counted(keeper)
    left = (0.5 ** (60 / 120) - 0.5) / 0.5
    assert young(culture, 60).likely == int(200 * left) == 82
    said = " ".join(young(culture, 0).why)
    assert (
        "grown in 120 days (common practice, no source), 50% of them living to be (common practice, no source)" in said
    )
    assert "Fill in what you know" in said


def test_a_figure_that_is_filled_in_is_used_beside_a_usual_one(keeper: User) -> None:
    culture = counted(keeper, mature_days=90, sources={"mature_days": ["from memory", "three months"]})
    assert young(culture, 45).likely == int(200 * (0.5**0.5 - 0.5) / 0.5)
    assert any(
        "grown in 90 days (from memory), 50% of them living to be (common practice" in w for w in young(culture, 0).why
    )


def test_a_line_whose_young_are_grown_within_a_month_says_why_it_has_nothing_to_sell(keeper: User) -> None:
    culture = counted(keeper, mature_days=22, young_survival="0.5")
    assert young(culture, 0).free == 200
    later = young(culture, 22)
    assert (later.free, later.lower) == (0, 0)
    assert any("grown within 22 days" in said for said in later.why)
    stocks = queries.stock_by_line([culture.line_id], on=NOW.date() + timedelta(days=22))
    (said,) = rules.shortages([rules.Want(culture.line_id, "young", 5)], stocks)
    assert "Its young are grown within 22 days" in said
    assert f"Count tub {culture.number} first" in said


def test_a_tub_whose_counted_young_have_all_grown_up_asks_to_be_counted(keeper: User) -> None:
    culture = counted(keeper, mature_days=100, young_survival="0.5")
    assert not any("grown by now" in said for said in young(culture, 99).why)
    assert (
        f"The young last counted in tub {culture.number} are grown by now. Count it again." in young(culture, 100).why
    )


def test_the_working_of_a_tub_says_which_share_is_still_young_and_on_whose_word(keeper: User) -> None:
    culture = counted(keeper, mature_days=240, young_survival="0.5")
    held = queries.book_of(culture).held(culture.pk, "young")
    working = entry_text.working_of(held, "young", NOW.date() + timedelta(days=60), culture.line)
    assert working is not None
    assert (
        "Young grown in 240 days (own), 50% of them living to be (own): 68% of those of the last count are still young."
        in working.steps
    )


def test_the_young_of_a_tub_tipped_apart_age_from_their_count_in_one_step(keeper: User, time_machine: Any) -> None:
    culture = counted(keeper, mature_days=240, young_survival="0.5")
    time_machine.move_to(NOW + timedelta(days=30), tick=False)
    other = actions.split_tub(culture.pk, actions.Place("B"), share=0.5, by=keeper).entry.culture
    time_machine.move_to(NOW + timedelta(days=31), tick=False)
    actions.merge_tubs(other.pk, culture.pk, by=keeper)
    assert young(culture, 60).likely == int(200 * (0.5 ** (60 / 240) - 0.5) / 0.5)
