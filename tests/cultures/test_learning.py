"""A person's own error: learnt from sorts that follow a guess, used for new counts, never for old ones."""

import math
from collections.abc import Iterator
from datetime import timedelta
from random import Random

import pytest
import time_machine
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse
from scipy import stats

from breeder.core.counting.defaults import SHARED_SD
from breeder.cultures import entry_text, eye_bias, ledger_check
from breeder.cultures.actions.changes import record_change
from breeder.cultures.actions.corrections import correct_entry
from breeder.cultures.actions.counts import record_count
from breeder.cultures.actions.rounds import Visit, record_round
from breeder.cultures.actions.tubs import Place, split_tub
from breeder.cultures.models import Culture, Entry, OwnError
from tests.build import NOW, line, tub
from tests.cultures.test_stock import queries_for

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def clock() -> Iterator[None]:
    with time_machine.travel(NOW):
        yield


def guess(culture: Culture, number: int, by: User, days_ago: int = 10, method: str = "piece") -> Entry:
    given = {"seen": round(number / 2), "factor": 2.0} if method == "piece" else {"from": number // 2, "to": 2 * number}
    at = NOW - timedelta(days=days_ago)
    return record_count(culture.pk, "young", method, given, happened_at=at, by=by).entry


def sort(culture: Culture, number: int, by: User, days_ago: int = 9, method: str = "full_sort") -> Entry:
    given = {"counted": number} if method == "full_sort" else {"catches": [number, 0]}
    at = NOW - timedelta(days=days_ago)
    return record_count(culture.pk, "young", method, given, happened_at=at, by=by).entry


def taught(by: User, pairs: int = 5, seen: float = 0.8) -> list[Entry]:
    of, sorts = line(), []
    for n in range(pairs):
        culture = tub(of)
        guess(culture, round(seen * 100) + 2 * n, by)
        sorts.append(sort(culture, 100, by))
    return sorts


def proven() -> bool:
    return not list(ledger_check.differences())


def test_a_simulated_eye_of_known_bias_is_found_and_taken_out(keeper: User) -> None:
    dice, of = Random(5), line()
    for _ in range(12):
        culture, held = tub(of), dice.randint(150, 600)
        guess(culture, round(held * math.exp(math.log(0.7) + dice.gauss(0, 0.15))), keeper)
        sort(culture, held, keeper)
    own = eye_bias.in_use(keeper, "piece")
    assert own is not None
    assert own.pairs == 12
    assert own.bias == pytest.approx(math.log(0.7), abs=3 * 0.15 / math.sqrt(12))
    widened = 0.15 * math.sqrt(1 + 1 / 12) * stats.t.ppf(0.95, 11) / stats.norm.ppf(0.95)
    assert 0.5 * widened < own.sd < 1.6 * widened
    corrected = [guess(tub(of), round(300 * math.exp(math.log(0.7) + dice.gauss(0, 0.15))), keeper) for _ in range(12)]
    assert math.exp(sum(math.log(one.estimate / 300) for one in corrected) / 12) == pytest.approx(1, abs=0.12)
    assert sum(one.lower <= 300 for one in corrected) >= 11
    assert proven()


def test_four_pairs_leave_the_default_and_the_fifth_replaces_it(keeper: User) -> None:
    taught(keeper, 4)
    assert OwnError.objects.count() == 0
    before = guess(tub(), 80, keeper)
    assert (before.estimate, before.shared_sd, before.given.get("learnt")) == (80, 0.25, None)
    taught_again = tub()
    guess(taught_again, 88, keeper)
    sort(taught_again, 100, keeper)
    row = OwnError.objects.get()
    after = guess(tub(), 80, keeper)
    assert after.given["learnt"] == {"bias": row.bias, "sd": row.sd, "pairs": 5}
    assert after.estimate == pytest.approx(80 * math.exp(-row.bias))
    assert after.shared_sd == row.sd
    before.refresh_from_db()
    assert before.estimate == 80  # what was written stays as it was written
    assert proven()


def test_a_count_is_worked_out_again_from_what_is_kept_of_it(keeper: User) -> None:
    taught(keeper)
    entry = guess(tub(), 80, keeper)
    count = entry_text.count_of(entry)
    assert (count.estimate, count.lower, count.log_sd) == (entry.estimate, entry.lower, entry.log_sd)
    assert "5 sorts that followed a guess" in count.steps[-1]


def test_each_person_and_method_learns_alone(keeper: User, helper: User) -> None:
    taught(keeper)
    assert eye_bias.in_use(keeper, "piece") is not None
    assert eye_bias.in_use(helper, "piece") is None
    assert eye_bias.in_use(keeper, "eye") is None
    assert guess(tub(), 80, helper).estimate == 80
    assert eye_bias.shared_of(keeper)["piece"] == OwnError.objects.get().sd
    assert eye_bias.shared_of(helper)["piece"] == 0.25


def test_what_was_learnt_is_put_back_before_the_next_lesson(keeper: User) -> None:
    taught(keeper, 5, 0.8)
    taught_again = line("More")
    for _ in range(5):
        culture = tub(taught_again)
        guess(culture, 84, keeper)
        sort(culture, 100, keeper)
    newest = eye_bias.in_use(keeper, "piece")
    assert newest is not None
    assert newest.pairs == 10
    assert math.exp(newest.bias) == pytest.approx(0.84, abs=0.005)
    assert OwnError.objects.count() == 6  # one row a lesson, none changed


def test_animals_moved_between_are_put_back_and_a_tub_tipped_over_says_nothing(keeper: User) -> None:
    of = line()
    sold, tipped = tub(of), tub(of)
    guess(sold, 100, keeper)
    at = NOW - timedelta(days=9, hours=12)
    record_change(sold.pk, "young", 30, "received", happened_at=at, by=keeper)
    sort(sold, 130, keeper)
    guess(tipped, 100, keeper)
    split_tub(tipped.pk, Place("B"), share=0.5, happened_at=at, by=keeper)
    sort(tipped, 50, keeper)
    (only,) = eye_bias.all_pairs()[keeper.pk, "piece"]
    assert (only.culture_id, only.pair.truth) == (sold.pk, pytest.approx(100))


def test_a_removal_teaches_and_a_sort_put_right_unteaches(keeper: User) -> None:
    sorts = taught(keeper, 4)
    culture = tub()
    guess(culture, 90, keeper)
    sort(culture, 100, keeper, method="removal")
    assert eye_bias.in_use(keeper, "piece") is not None
    taken_back = correct_entry(sorts[0].pk, by=keeper).entry
    assert eye_bias.in_use(keeper, "piece") is None
    assert eye_bias.shared_of(keeper) == SHARED_SD, "the plan of the week no longer rests on it either"
    assert OwnError.objects.filter(learnt=False).count() == 1
    correct_entry(taken_back.pk, by=keeper)
    assert eye_bias.in_use(keeper, "piece").pairs == 5  # type: ignore[union-attr]
    assert proven()


def test_a_guess_typed_in_after_its_sort_still_teaches(keeper: User) -> None:
    taught(keeper, 4)
    culture = tub()
    sort(culture, 100, keeper, days_ago=9)
    assert eye_bias.in_use(keeper, "piece") is None
    guess(culture, 90, keeper, days_ago=10)
    assert eye_bias.in_use(keeper, "piece") is not None


def test_the_round_uses_the_eye_that_was_learnt(keeper: User) -> None:
    of = line()
    for n in range(5):
        culture = tub(of)
        guess(culture, 80 + 2 * n, keeper, method="eye")
        sort(culture, 100, keeper)
    own = eye_bias.in_use(keeper, "eye")
    assert own is not None
    visit = Visit(tub(of).pk, eye=(("young", "50–100"),))
    record_round([visit], by=keeper)
    entry = Entry.objects.filter(culture_id=visit.culture_id).get()
    assert entry.estimate == pytest.approx(5000**0.5 * math.exp(-own.bias))
    assert entry.given["learnt"]["pairs"] == 5


def test_a_form_cannot_type_in_an_error_of_its_own(keeper: User) -> None:
    given = {"seen": 80, "factor": 1.0, "learnt": {"bias": -2.0, "sd": 0.01, "pairs": 99}}
    entry = record_count(tub().pk, "young", "piece", given, by=keeper).entry
    assert (entry.estimate, "learnt" in entry.given) == (80, False)


def test_the_page_tells_each_reader_of_their_eye(keeper: User, client: Client) -> None:
    client.force_login(keeper)
    page = reverse("cultures:own_errors")
    assert "No guesses yet" in client.get(page).content.decode()
    taught(keeper, 4)
    assert "4 pairs so far" in client.get(page).content.decode()
    culture = tub()
    guess(culture, 84, keeper)
    sort(culture, 100, keeper)
    said = client.get(page).content.decode()
    assert "you see 0.83 of what is there (5 pairs)" in said
    assert "taken to be right within that factor, instead of 1.28." in said  # exp(0.25)


def test_pairs_are_read_in_the_same_number_of_queries_for_5_and_for_20(keeper: User) -> None:
    taught(keeper, 5)
    few = queries_for(eye_bias.all_pairs)
    of = line("Many")
    for _ in range(15):
        culture = tub(of)
        guess(culture, 80, keeper)
        sort(culture, 100, keeper)
    assert queries_for(eye_bias.all_pairs) == few == 2
