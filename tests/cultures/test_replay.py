"""The same facts, typed in any order, give the same book; what is stored is what the ledger says."""

import math
from io import StringIO
from itertools import permutations
from typing import Any

import pytest
import time_machine
from django.contrib.auth.models import User
from django.core.management import call_command
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from breeder.core.stock import Ageing, as_json
from breeder.cultures import actions, ledger_check
from breeder.cultures.actions.tubs import Animals, Place
from breeder.cultures.models import Belief, Culture, Entry
from breeder.cultures.tub_ledger import Ledger
from breeder.species.models import Species
from tests.build import line, tub
from tests.cultures.book import beliefs, day, lower

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("_clock")]


@pytest.fixture
def _clock() -> Any:
    with time_machine.travel(day(60), tick=False):
        yield


FACTS = (
    lambda tub, by: actions.record_count(tub, "young", "eye", {"from": 50, "to": 100}, happened_at=day(1), by=by),
    lambda tub, by: actions.record_change(tub, "young", 7, "died", happened_at=day(5), by=by),
    lambda tub, by: actions.record_count(tub, "young", "eye", {"from": 25, "to": 50}, happened_at=day(9), by=by),
    lambda tub, by: actions.record_change(tub, "young", 12, "received", happened_at=day(9), by=by),
)


def test_the_same_facts_in_any_order_of_typing_give_the_same_belief(keeper: User) -> None:
    of = line()
    seen = []
    for order in list(permutations(FACTS))[::5]:
        culture = tub(of)
        for fact in order:
            fact(culture.pk, keeper)
        told = beliefs(culture)["young"]
        told.pop("culture_id")
        seen.append(told)
    assert seen[0]["counted_at"] == day(9)
    assert all(one == seen[0] for one in seen)


def tipped(order: tuple[int, ...], by: User) -> tuple[dict[str, Any], dict[str, Any]]:
    """Count, lose and split in an order of typing; the tub that is tipped into exists from the start."""
    culture = tub(line(f"{order}", harvest_share=None))
    other = tub(culture.line)

    def halve() -> None:
        taken = actions.split_tub(culture.pk, Place("B"), share=0.5, happened_at=day(10), by=by)
        actions.merge_tubs(taken.entry.culture_id, other.pk, happened_at=day(11), by=by)

    facts = (
        lambda: actions.record_count(culture.pk, "young", "eye", {"from": 50, "to": 100}, happened_at=day(1), by=by),
        lambda: actions.record_change(culture.pk, "young", 9, "died", happened_at=day(4), by=by),
        halve,
        lambda: actions.record_count(other.pk, "young", "hand", {"counted": 5}, happened_at=day(3), by=by),
        lambda: actions.record_change(culture.pk, "young", 3, "culled", happened_at=day(20), by=by),
    )
    for number in order:
        facts[number]()
    return told(culture), told(other)


def told(culture: Culture) -> dict[str, Any]:
    found = beliefs(culture)["young"]
    found.pop("culture_id")
    return found


@pytest.mark.parametrize("order", [(2, 0, 1, 3, 4), (4, 3, 2, 1, 0), (1, 2, 0, 4, 3)])
def test_a_half_tipped_over_is_half_of_what_was_there_then_whenever_it_is_typed(
    keeper: User, order: tuple[int, ...]
) -> None:
    assert tipped(order, keeper) == tipped((0, 1, 2, 3, 4), keeper)


def test_tipping_half_over_and_back_never_raises_the_sum_of_bounds(keeper: User) -> None:
    first = tub(line(harvest_share=None))
    actions.record_count(first.pk, "young", "eye", {"from": 100, "to": 250}, happened_at=day(1), by=keeper)
    whole = lower(first)
    second = actions.split_tub(first.pk, Place("B"), share=0.5, happened_at=day(2), by=keeper).entry.culture
    halves = lower(first) + lower(second)
    assert 0 < lower(second) < whole / 2
    assert halves <= whole
    actions.merge_tubs(second.pk, first.pk, happened_at=day(3), by=keeper)
    assert lower(first) <= halves
    assert Culture.objects.get(pk=second.pk).closed_on == day(3).date()


def test_animals_counted_over_are_known_exactly_on_both_sides(keeper: User) -> None:
    first = tub(line(harvest_share=None))
    actions.record_count(first.pk, "adults", "hand", {"counted": 40}, happened_at=day(1), by=keeper)
    moved = (Animals("adults", 15, males=5, females=8),)
    second = actions.split_tub(first.pk, Place("B"), moved=moved, happened_at=day(2), by=keeper).entry.culture
    row = Belief.objects.get(culture=second, stage="adults")
    assert (row.moved, row.males, row.females) == (15, 5, 8)
    assert Belief.objects.get(culture=first, stage="adults").moved == -15


def check() -> tuple[int, str]:
    out = StringIO()
    try:
        call_command("check_ledger", stdout=out, stderr=StringIO())
    except SystemExit as ended:
        return int(ended.code or 0), out.getvalue()
    return 0, out.getvalue()


def test_the_check_passes_after_a_full_life_and_finds_a_belief_that_was_tampered_with(keeper: User) -> None:
    tipped((0, 1, 2, 3, 4), keeper)
    assert check()[0] == 0
    row = Belief.objects.filter(stage="young").first()
    assert row is not None
    Belief.objects.filter(pk=row.pk).update(moved=row.moved + 1)
    code, table = check()
    assert code == 1
    assert f"{row.culture.number}" in table
    assert "moved" in table
    Belief.objects.filter(pk=row.pk).delete()
    assert "nothing" in check()[1]


def test_a_changed_adult_life_is_not_taken_for_a_fault_of_the_ledger(keeper: User) -> None:
    culture = tub()
    for when, ends in ((1, (50, 100)), (40, (25, 50))):
        given = {"from": ends[0], "to": ends[1]}
        actions.record_count(culture.pk, "adults", "eye", given, happened_at=day(when), by=keeper)
    Species.objects.update(adult_life_months=3)
    assert list(ledger_check.differences()) == []
    actions.record_looked(culture.pk, by=keeper)
    assert list(ledger_check.differences()) == []
    assert Belief.objects.get(culture=culture).used["ageing"]["adult_life_months"] == 3


ENTRIES = st.lists(
    st.tuples(
        st.integers(0, 50),
        st.sampled_from(["count", "died", "received", "about"]),
        st.integers(1, 60),
    ),
    min_size=2,
    max_size=7,
)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(facts=ENTRIES, seed=st.randoms(use_true_random=False))
def test_any_facts_in_any_order_replay_alike(facts: list[tuple[int, str, int]], seed: Any) -> None:
    def entries(order: list[tuple[int, str, int]]) -> list[Entry]:
        return [as_entry(number, *fact) for number, fact in enumerate(order, start=1)]

    def replayed(order: list[tuple[int, str, int]]) -> Any:
        held = Ledger(entries(order), {1: Ageing()}).held(1, "young").belief
        return None if held is None else as_json(held)

    shuffled = list(facts)
    seed.shuffle(shuffled)
    assert replayed(shuffled) == replayed(facts)


def as_entry(pk: int, on: int, kind: str, number: int) -> Entry:
    values: dict[str, Any] = {
        "pk": pk,
        "culture_id": 1,
        "stage": "young",
        "happened_at": day(on),
        "recorded_at": day(60),
    }
    if kind == "count":
        return Entry(kind="count", method="eye", estimate=float(number), log_sd=0.4, shared_sd=0.35, **values)
    if kind == "about":
        return Entry(kind="about", number=number, log_sd=0.2, **values)
    sign = 1 if kind == "received" else -1
    return Entry(kind="change", number=sign * number, reason=kind, **values)


def test_about_half_of_a_tub_is_37_to_67_of_a_hundred_19_times_in_20(keeper: User) -> None:
    """Common practice, no source."""
    first = tub(line(harvest_share=None))
    actions.record_count(first.pk, "young", "eye", {"from": 100, "to": 250}, happened_at=day(1), by=keeper)
    actions.split_tub(first.pk, Place("B"), share=0.5, happened_at=day(2), by=keeper)
    sd = Entry.objects.get(kind=Entry.Kind.ABOUT, culture=first, stage="young").given["share_log_sd"]
    assert [0.5 * math.exp(z * sd) for z in (-1.96, 1.96)] == pytest.approx([0.37, 0.67], abs=0.005)


@pytest.mark.parametrize("confidence", ["0.80", "0.90", "0.95", "0.99"])
def test_tipping_into_another_lines_mixed_tub_never_raises_the_sum_of_bounds(keeper: User, confidence: str) -> None:
    """The mixed tub keeps the other as it was believed, not one number fitted to its 95 % bound."""
    first = tub(line("Ash", harvest_share=None, confidence=confidence))
    mixed = tub(line("Mixed", harvest_share=None, confidence=confidence), purpose="mixed")
    portions = {"counts": [9, 14, 6], "sizes": [50] * 3, "whole": 4000}
    actions.record_count(first.pk, "young", "portions", portions, happened_at=day(1), by=keeper)
    actions.record_change(first.pk, "young", 20, "died", happened_at=day(2), by=keeper)
    whole = lower(first)
    actions.merge_tubs(first.pk, mixed.pk, happened_at=day(3), by=keeper)
    row = Belief.objects.get(culture=mixed, stage="young")
    assert row.used["belief"]["sources"][0]["kind"] == "part"
    assert lower(mixed) == whole
    assert list(ledger_check.differences()) == []
    with time_machine.travel(day(120), tick=False):
        later = lower(mixed)
    assert later < whole
