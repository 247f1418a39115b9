"""A keeper's own error, learned from full sorts that follow a guess."""

import math
from datetime import date, timedelta
from statistics import fmean, stdev

import pytest
from scipy import stats

from breeder.core.counting.methods.subsample import portions
from breeder.core.counting.methods.visual import eye, piece
from breeder.core.counting.observer_bias import GuessPair, PersonCount, guess_pairs, shared_error, without_bias

START = date(2026, 1, 1)


def tried(days: int, method: str, estimate: float, person: str = "keeper", moved: int = 0) -> PersonCount:
    return PersonCount(START + timedelta(days=days), person, method, estimate, 0.0, moved)


def test_four_pairs_leave_the_keepers_default() -> None:
    error = shared_error([GuessPair(0.4, 0.0)] * 4, "eye")
    assert (error.learnt, error.sd, error.bias, error.corrected(100)) == (False, 0.35, 0.0, 100)
    assert "no source" in error.mark


def test_five_pairs_teach_their_mean_and_spread() -> None:
    ratios = [0.5, 0.3, 0.1, 0.4, 0.2]
    error = shared_error([GuessPair(ratio, 0.0) for ratio in ratios], "eye")
    widened = stdev(ratios) * math.sqrt(1 + 1 / 5) * stats.t.ppf(0.95, 4) / stats.norm.ppf(0.95)
    assert (error.learnt, error.pairs, error.bias) == (True, 5, pytest.approx(fmean(ratios)))
    assert error.sd == pytest.approx(widened)
    assert error.corrected(100) == pytest.approx(100 * math.exp(-0.3))


def test_what_the_class_itself_explains_is_not_the_persons_error() -> None:
    ratios = [0.5, 0.3, 0.1, 0.4, 0.2]
    plain, classed = (shared_error([GuessPair(r, variance) for r in ratios], "eye") for variance in (0.0, 0.01))
    assert classed.sd / plain.sd == pytest.approx(math.sqrt(1 - 0.01 / stdev(ratios) ** 2))


def test_no_guess_counts_as_better_than_a_full_sort() -> None:
    error = shared_error([GuessPair(0.1, 0.04)] * 20, "eye")
    assert error.sd >= 0.02


def test_a_sort_is_paired_with_the_guess_before_it_and_sales_are_put_back() -> None:
    history = [tried(0, "eye", 100), tried(2, "moved", 0, moved=-20), tried(3, "full_sort", 60)]
    assert [pair.log_ratio for pair in guess_pairs(history, "keeper", "eye")] == [pytest.approx(math.log(100 / 80))]


def test_only_this_persons_guesses_with_this_method_count() -> None:
    history = [tried(0, "eye", 100, "helper"), tried(1, "piece", 90), tried(3, "removal", 60)]
    assert guess_pairs(history, "keeper", "eye") == []
    assert len(guess_pairs(history, "helper", "eye")) == 1


def test_a_sort_teaches_once_and_not_after_a_month() -> None:
    late = [tried(0, "eye", 100), tried(31, "full_sort", 60)]
    twice = [tried(0, "eye", 100), tried(30, "full_sort", 60), tried(31, "full_sort", 60)]
    assert guess_pairs(late, "keeper", "eye") == []
    assert len(guess_pairs(twice, "keeper", "eye")) == 1


def test_a_sort_that_finds_none_teaches_nothing() -> None:
    assert guess_pairs([tried(0, "eye", 10), tried(1, "full_sort", 0)], "keeper", "eye") == []


def test_the_usual_error_is_taken_out_of_estimate_and_bounds_alike() -> None:
    count = eye(50, 100, shared_sd=0.2)
    plain = without_bias(count, math.log(0.8), 7)
    assert plain.estimate == pytest.approx(count.estimate / 0.8)  # type: ignore[operator]
    assert plain.lower == pytest.approx(count.lower / 0.8)  # type: ignore[operator]
    assert plain.standard_error == pytest.approx(count.standard_error / 0.8)  # type: ignore[operator]
    assert plain.interval == pytest.approx(tuple(end / 0.8 for end in count.interval or ()))
    assert plain.log_sd == pytest.approx(count.log_sd)
    assert "0.80 of what is there, as 7 sorts" in plain.steps[-1]
    assert without_bias(count, 0.0, 7) is count
    none = eye(1, 1)
    assert without_bias(portions([0, 0], [1, 1], 9), 0.5, 7).estimate == 0
    assert none.estimate == 1


def test_animals_in_the_hand_stay_a_floor_whatever_was_learned() -> None:
    count = piece(40, 2, shared_sd=0.3)
    plain = without_bias(count, math.log(4), 9)  # sees four times too many
    assert (plain.estimate, plain.lower, plain.log_sd) == (40, 40, 0)
    assert plain.interval == (40, 40)
