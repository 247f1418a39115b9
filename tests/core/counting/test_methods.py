"""What each counting method returns, and what it must never return."""

import math
import random

import numpy as np
import pytest
from scipy import stats

from breeder.core.counting.defaults import EYE_CLASSES, SHARED_SD
from breeder.core.counting.methods import closed_forms
from breeder.core.counting.methods.change_in_ratio import SexCounts, by_sexes
from breeder.core.counting.methods.count import Count, stored_log_sd, working_text
from breeder.core.counting.methods.direct import after_sale, count_after_sale, full_sort, hand, weight
from breeder.core.counting.methods.mark_recapture import chance_of_at_most, exact_lower, marked
from breeder.core.counting.methods.removal import (
    Passes,
    carle_strub,
    likelihood_lower,
    log_likelihood,
    removal,
    standard_error,
)
from breeder.core.counting.methods.subsample import SubstrateLayer, layers, portions
from breeder.core.counting.methods.visual import eye, index, piece, wilson

EIGHT = ([9, 14, 6, 11, 3, 17, 8, 12], [50] * 8, 4000)


def test_shared_errors_are_the_keepers_defaults() -> None:
    # Common practice, no source.
    named = {"eye": 0.35, "piece": 0.25, "portions": 0.10, "removal": 0.10, "marked": 0.25, "full_sort": 0.02}
    ours = {"index": 0.25, "after_sale": 0.25, "by_sexes": 0.25, "weight": 0.10, "hand": 0.0}
    assert named | ours == SHARED_SD


def test_size_classes_join_without_gap() -> None:
    assert [(c.low, c.high) for c in EYE_CLASSES] == [(1, 10), (10, 25), (25, 50), (50, 100), (100, 250), (250, 500)]


def test_a_guess_by_eye_is_the_geometric_middle_of_its_class() -> None:
    count = eye(50, 100)
    assert count.estimate == pytest.approx(math.sqrt(50 * 100))
    assert count.log_sd == pytest.approx(math.log(2) / 3.29)
    assert count.lower == pytest.approx(50, abs=0.01)
    assert count.interval == pytest.approx(tuple(5000**0.5 * 2 ** (s * 1.959964 / 3.29) for s in (-1, 1)), rel=1e-6)


def test_the_shared_error_widens_a_guess_in_quadrature() -> None:
    count = eye(100, 250, shared_sd=0.35)
    whole = math.hypot(math.log(2.5) / 3.29, 0.35)
    assert stored_log_sd(count) == pytest.approx(whole)
    assert count.lower == pytest.approx(math.sqrt(25000) * math.exp(-stats.norm.ppf(0.95) * whole))


def test_what_is_stored_is_the_95_percent_bound_whatever_confidence_was_asked() -> None:
    low, high = (portions(*EIGHT, confidence=level) for level in (0.80, 0.95))
    assert low.log_sd == high.log_sd == pytest.approx(math.log(800 / 603.0525228) / stats.norm.ppf(0.95))
    assert low.lower is not None
    assert high.lower is not None
    assert low.lower > high.lower


def test_a_hand_count_is_at_least_what_was_counted() -> None:
    count = hand(120, 0.05)
    assert count.estimate == pytest.approx(120 / 0.95)
    assert count.lower == 120
    assert hand(12).interval == (12, 12)


def test_the_missed_are_negative_binomial() -> None:
    assert hand(120, 0.05).standard_error == pytest.approx(stats.nbinom(120, 0.95).std())


def test_a_full_sort_had_every_animal_in_the_hand_so_no_shared_error_takes_one_away() -> None:
    assert full_sort(100, shared_sd=0.02).lower == 100
    assert [hand(100, 0.1, shared_sd=0.3).lower_at(level) for level in (0.5, 0.95, 0.99)] == [100, 100, 100]


def test_portions_use_student_t_and_the_log_scale() -> None:
    count = portions(*EIGHT)
    reach = stats.t.ppf(0.95, 7) * math.sqrt(math.log1p((120 / 800) ** 2))
    assert count.lower == pytest.approx(800 * math.exp(-reach))
    assert count.interval is not None
    assert count.interval[1] == pytest.approx(800 * math.exp(reach * stats.t.ppf(0.975, 7) / stats.t.ppf(0.95, 7)))


def test_portions_are_never_bounded_as_if_animals_were_spread_evenly() -> None:
    poisson = stats.chi2.ppf(0.05, 2 * 80) / 2 / 0.1
    assert poisson == pytest.approx(659, abs=1)
    assert portions(*EIGHT).lower < poisson  # type: ignore[operator]


def test_the_whole_tub_in_portions_has_no_sampling_error() -> None:
    count = portions([30, 10], [2, 2], 4)
    assert (count.estimate, count.standard_error, count.lower) == (40, 0, 40)


def test_portions_of_different_size_weigh_by_size() -> None:
    # Ratio estimate worked by hand: 20 animals in 5 liters of 10.
    count = portions([4, 16], [1, 4], 10)
    assert count.estimate == pytest.approx(40)
    # They agree to the animal, so the spread of pure chance is used: (10 / 2.5)² · ½ · 10 / 2.
    assert count.standard_error == pytest.approx(math.sqrt(40))


def test_portions_that_agree_are_spread_at_least_as_chance_spreads_animals() -> None:
    # Poisson variance of a portion is its mean, here 3: 80² · (1 − 2/80) · 3 / 2, worked by hand.
    count = portions([3, 3], [1, 1], 80)
    error = 80 * math.sqrt((1 - 2 / 80) * 3 / 2)
    assert count.standard_error == pytest.approx(error)
    reach = stats.t.ppf(0.95, 1) * math.sqrt(math.log1p((error / 240) ** 2))
    assert count.lower == pytest.approx(240 * math.exp(-reach))
    agree, differ = SubstrateLayer([5, 5, 5], [1, 1, 1], 20), SubstrateLayer([30, 9, 2, 12], [1] * 4, 30)
    both, first, second = layers([agree, differ]), layers([agree]), layers([differ])
    assert both.standard_error == pytest.approx(math.hypot(first.standard_error, second.standard_error))  # type: ignore[arg-type]
    assert first.standard_error == pytest.approx(20 * math.sqrt((1 - 3 / 20) * 5 / 3))


@pytest.mark.parametrize("confidence", [0.80, 0.95, 0.999])
def test_no_bound_of_portions_lies_under_the_animals_counted(confidence: float) -> None:
    for shared_sd in (0.0, 0.5):
        count = portions([30, 1, 2], [1, 1, 1], 4, visible=7, confidence=confidence, shared_sd=shared_sd)
        assert count.lower is not None
        assert count.lower >= 40
        assert count.interval[0] >= 40  # type: ignore[index]


def test_empty_portions_give_none_without_a_bound_on_doubt() -> None:
    count = portions([0, 0, 0], [1, 1, 1], 20)
    assert (count.estimate, count.standard_error, count.lower, count.interval) == (0, None, 0, None)
    assert (stored_log_sd(count), count.floor, count.taken_since) == (0, 0, 0)
    assert "Sort it by hand" in count.notes[0]


def test_layers_add_up_and_clusters_are_counted_whole() -> None:
    top, bottom = SubstrateLayer([3, 4, 6], [1, 1, 1], 20), SubstrateLayer([30, 9, 2, 12], [1] * 4, 30)
    both = layers([top, bottom], visible=25)
    first, second = layers([top]), layers([bottom])
    assert both.estimate == pytest.approx(25 + first.estimate + second.estimate)  # type: ignore[operator]
    assert both.standard_error == pytest.approx(math.hypot(first.standard_error, second.standard_error))  # type: ignore[arg-type]
    v1, v2 = first.standard_error**2, second.standard_error**2  # type: ignore[operator]
    freedom = (v1 + v2) ** 2 / (v1**2 / 2 + v2**2 / 3)
    hidden = both.estimate - 25  # type: ignore[operator]
    reach = stats.t.ppf(0.95, freedom) * math.sqrt(math.log1p((v1 + v2) / hidden**2))
    assert both.lower == pytest.approx(25 + hidden * math.exp(-reach))


def test_an_uncertain_whole_adds_its_error() -> None:
    sure, unsure = portions(*EIGHT), portions(*EIGHT, whole_cv=0.1)
    assert unsure.standard_error == pytest.approx(math.hypot(sure.standard_error, 80))  # type: ignore[arg-type]


def test_few_portions_and_lucky_portions_are_pointed_out() -> None:
    assert any("Only 3" in note for note in portions([9, 14, 6], [1] * 3, 80).notes)
    assert any("more closely than chance" in step for step in portions([5] * 6, [1] * 6, 80).steps)
    assert not any("more closely than chance" in step for step in portions(*EIGHT).steps)
    assert portions(*EIGHT).notes == ()


@pytest.mark.parametrize(("held", "marks", "caught", "again"), [(90, 40, 30, 9), (400, 100, 60, 20), (60, 40, 30, 12)])
def test_the_chance_of_recaptures_is_hypergeometric(held: int, marks: int, caught: int, again: int) -> None:
    assert chance_of_at_most(again, held, marks, caught) == pytest.approx(
        stats.hypergeom(held, marks, caught).cdf(again)
    )


def test_the_exact_bound_is_the_first_number_that_is_not_too_unlikely() -> None:
    for marks, caught, again in ((40, 30, 9), (12, 15, 0), (50, 50, 50), (5, 9, 1)):
        low = exact_lower(marks, caught, again, 0.95)
        assert stats.hypergeom(low, marks, caught).cdf(again) > 0.05
        least = marks + caught - again
        assert low == least or stats.hypergeom(low - 1, marks, caught).cdf(again) <= 0.05


def test_a_huge_marking_stays_quick_and_sane() -> None:
    low = exact_lower(500_000, 400_000, 200_000, 0.95)
    assert 0.99 < low / (500_000 * 400_000 / 200_000) < 1


def test_marking_is_never_below_the_animals_seen_and_warns_of_the_molt() -> None:
    count = marked(20, 20, 19)
    assert count.lower == 21
    assert count.interval is not None
    assert count.interval[0] >= 21
    assert "molt" in count.notes[0]
    assert "Only 3" in marked(20, 20, 3).notes[1]


def test_removal_agrees_with_a_search_one_by_one() -> None:
    draw = random.Random(1)
    for _ in range(60):
        passes = Passes(tuple(draw.randint(0, 40) for _ in range(draw.randint(2, 5))))
        if not passes.total:
            continue
        tried = np.arange(passes.total, 40 * passes.total + 400)
        k, i = passes.passes, np.arange(1, passes.passes + 1)
        left = k * tried - passes.x
        value = (tried + 1) / (tried - passes.total + 1)
        for later in k - i:
            value = value * (left - passes.total + 1 + later) / (left + 2 + later)
        assert carle_strub(passes) == tried[value <= 1 + 1e-12][0]


def test_the_likelihood_bound_is_where_the_profile_has_fallen_by_1_353() -> None:
    passes = Passes((38, 26, 12))
    low = likelihood_lower(passes, 0.95)
    best = max(log_likelihood(passes, n) for n in range(76, 300))
    fall = stats.norm.ppf(0.95) ** 2 / 2
    assert best - log_likelihood(passes, low) <= fall < best - log_likelihood(passes, low - 1)


def test_catches_that_do_not_fall_still_give_a_bound() -> None:
    passes = Passes((5, 7, 8))
    assert log_likelihood(passes, 10**9) == pytest.approx(log_likelihood(passes, math.inf), abs=1e-4)
    count = removal((5, 7, 8))
    assert 20 < count.lower < count.estimate  # type: ignore[operator]
    assert "did not fall" in count.notes[0]


@pytest.mark.parametrize("last", [1_000, 100_000, 1_000_000])
def test_removal_copes_with_catches_that_only_grow(last: int) -> None:
    """For a small share p the form is √{12N/[k(k²−1)p³]}: its series to the first term, worked out by hand."""
    count, passes = removal((10, 5, last)), Passes((10, 5, last))
    held = carle_strub(passes)
    small = math.sqrt(12 * held / (3 * 8 * passes.share_caught(held) ** 3))
    assert standard_error(passes, held) == pytest.approx(small, rel=0.01)
    assert "did not fall" in count.notes[0]


def test_removal_is_never_below_the_catch() -> None:
    assert removal((10, 0, 0)).lower == 10
    assert removal((30, 1), shared_sd=0.1).lower == 31
    assert removal((38, 26, 12), confidence=0.99).interval[0] == 76  # type: ignore[index]


def test_a_shy_rest_is_noticed() -> None:
    assert "shy" in removal((45, 11, 18, 8)).notes[0]


def test_an_index_divides_by_the_share_seen_and_warns_when_the_shelter_is_full() -> None:
    assert index(27, 18, 60).estimate == pytest.approx(90)
    assert index(69, 18, 60).notes == ()
    assert "about 70 at most" in index(70, 18, 60).notes[0]


@pytest.mark.parametrize(("trial_seen", "trial_known", "lower"), [(18, 60, 59.2), (3000, 10_000, 69.0)])
def test_the_look_of_today_is_a_sample_however_large_the_trial_was(
    trial_seen: int, trial_known: int, lower: float
) -> None:
    # Delta method, both looks binomial: cv² = (1 − p)/27 + (1 − p)/trial seen. Values: contract of `reckon count`.
    count = index(27, trial_seen, trial_known)
    spread = math.sqrt(0.7 / 27 + 0.7 / trial_seen)
    assert count.lower == pytest.approx(lower, abs=0.05)
    assert count.lower == pytest.approx(90 * math.exp(-stats.norm.ppf(0.95) * spread))
    ends = [90 * math.exp(side * stats.norm.ppf(0.975) * spread) for side in (-1, 1)]
    assert count.interval == pytest.approx(ends)


def test_a_trial_that_saw_none_gives_a_bound_but_no_estimate() -> None:
    count = index(27, 0, 60)
    assert count.estimate is None
    assert count.lower == pytest.approx(27 / (1.6448536**2 / (60 + 1.6448536**2)), rel=1e-6)
    assert index(0, 18, 60).estimate == 0


def test_one_weighed_sample_shows_no_error_of_its_own() -> None:
    alone, shared = weight(50, 4.1, 96), weight(50, 4.1, 96, shared_sd=0.10)
    assert alone.estimate == pytest.approx(50 * 96 / 4.1)
    assert (alone.standard_error, alone.lower, alone.interval) == (None, None, None)
    assert shared.lower == pytest.approx(50 * 96 / 4.1 * math.exp(-1.6448536 * 0.1))
    with pytest.raises(ValueError, match="Count in another way"):
        stored_log_sd(alone)


def test_what_sits_under_one_piece_counts_times_the_factor() -> None:
    count = piece(12, 6, shared_sd=0.25)
    assert count.estimate == 72
    assert count.lower == pytest.approx(72 * math.exp(-1.6448536 * 0.25))
    assert piece(12, 1, shared_sd=0.25).lower == 12  # they were seen
    assert piece(12, 6).lower is None


def test_an_index_that_did_not_fall_tells_nothing() -> None:
    count = after_sale(10, 10, 30)
    assert (count.estimate, count.standard_error, count.lower, count.interval) == (None, None, None, None)
    assert "did not fall" in count.notes[0]


def test_a_sale_counts_the_tub_before_it_and_never_fewer_than_were_sold() -> None:
    count = after_sale(10, 7, 300)
    assert count.lower == 300
    assert "700 are left" in count.notes[0]
    assert after_sale(10, 0, 30).estimate == 30


ALL: list[Count] = [
    eye(25, 50, shared_sd=0.35),
    hand(120, 0.05),
    full_sort(80, shared_sd=0.02),
    portions(*EIGHT, shared_sd=0.1),
    piece(12, 6, shared_sd=0.25),
    index(27, 18, 60),
    weight(50, 4.1, 96, shared_sd=0.1),
    marked(421, 332, 88),
    removal((38, 26, 12)),
    after_sale(60, 42, 40),
    by_sexes(SexCounts(40, 40), SexCounts(60, 20), SexCounts(0, 40)),
]


@pytest.mark.parametrize("count", ALL, ids=lambda count: count.method)
def test_every_count_keeps_its_figures_in_order_and_tells_its_working(count: Count) -> None:
    assert count.estimate is not None
    assert count.lower is not None
    assert count.interval is not None
    assert count.interval[0] <= count.lower <= count.estimate <= count.interval[1]
    assert math.exp(-1.6448536269514722 * stored_log_sd(count)) * count.estimate == pytest.approx(count.lower)
    assert len(working_text(count)) >= 2
    assert all(sentence[0].isupper() or sentence[0].isdigit() or sentence[0] == "(" for sentence in working_text(count))
    assert all(sentence.endswith(".") for sentence in working_text(count))


def test_a_method_adds_no_shared_error_of_its_own() -> None:
    for count in (
        eye(25, 50),
        hand(9),
        full_sort(9),
        portions(*EIGHT),
        removal((9, 3)),
        marked(9, 9, 5),
        index(9, 5, 9),
    ):
        assert (count.shared_sd, count.taken_since, count.confidence) == (0, 0, 0.95)


def test_closed_forms_say_nothing_when_catches_do_not_fall() -> None:
    assert closed_forms.two_passes(5, 5) is None
    assert closed_forms.two_passes(5, 4) == closed_forms.RemovalEstimate(25, 0.2, 20 * 3)
    assert closed_forms.two_passes_less_biased(5, 5) is None
    assert closed_forms.three_passes(5, 5, 5) is None
    assert closed_forms.leslie_regression([5, 9, 14], [1, 1, 1]) is None
    assert closed_forms.delury_regression([5, 9, 14], [1, 1, 1]) is None
    assert closed_forms.marked_repeatedly([5, 5], [0, 0], [0, 5]) is None


def test_catches_that_fall_evenly_do_not_set_the_first_pass_apart() -> None:
    assert closed_forms.first_pass_chi_square([64, 32, 16, 8]) < 0.1
    assert closed_forms.first_pass_chi_square([10, 0, 0]) == pytest.approx(0, abs=1e-4)


def test_the_smallest_counts_that_can_be_are_taken() -> None:
    assert (eye(1, 1).estimate, hand(0).estimate, piece(0, 1).estimate) == (1, 0, 0)
    assert (weight(1, 2, 2).estimate, weight(1, 0.5, 0.9).estimate) == (1, pytest.approx(1.8))
    assert index(0, 1, 1).estimate == 0
    assert index(3, 1, 1).lower == 3  # everything was seen in the trial, so nothing hides
    assert after_sale(0.5, 0.25, 1).estimate == 2
    assert wilson(9, 9, 0.95)[1] == 1


def test_standard_errors_are_those_of_their_distributions() -> None:
    assert eye(100, 250).standard_error == pytest.approx(
        25000**0.5 * math.sqrt(math.expm1((math.log(2.5) / 3.29) ** 2))
    )
    count = after_sale(60, 42, 40)
    # Index removal worked by hand: N = 40·60/18, SE = 40/0.3² · 0.7 · √(1/60 + 1/42).
    error = 40 / 0.09 * 0.7 * math.sqrt(1 / 60 + 1 / 42)
    assert count.standard_error == pytest.approx(error)
    assert count.lower == pytest.approx(
        2400 / 18 * math.exp(-1.6448536 * math.sqrt(math.log1p((error * 18 / 2400) ** 2)))
    )
    assert "by 30%" in count.steps[0]


def test_what_is_left_after_a_sale_is_the_count_less_what_was_sold() -> None:
    before = after_sale(60, 30, 40, shared_sd=0.25)
    left = count_after_sale(before)
    assert left.estimate == pytest.approx(80 - 40)
    assert left.lower == pytest.approx(max(0.0, before.lower - 40))  # type: ignore[operator]
    assert left.interval == pytest.approx(tuple(max(0.0, end - 40) for end in before.interval or ()))
    lower95 = 80 * math.exp(-1.6448536269514722 * stored_log_sd(before)) - 40
    assert stored_log_sd(left) == pytest.approx(math.log(40 / max(lower95, 0.5)) / 1.6448536269514722)
    assert (left.taken_since, count_after_sale(left)) == (0, left)
    unknown = after_sale(10, 10, 30)
    assert count_after_sale(unknown) is unknown


def test_a_sale_of_one_sex_counts_the_tub_by_how_far_the_share_moved() -> None:
    """Change in ratio: from .5 to .4 by taking 40 females, so (40 − .4·40)/.1 = 240 (Paulik & Robson 1969)."""
    count = by_sexes(SexCounts(100, 100), SexCounts(120, 80), SexCounts(0, 40))
    assert count.estimate == pytest.approx(240)
    assert "About 200 are left" in count.notes[0]
    assert count_after_sale(count).estimate == pytest.approx(200)
    # Males taken move it the other way by as much.
    assert by_sexes(SexCounts(100, 100), SexCounts(80, 120), SexCounts(40, 0)).estimate == pytest.approx(240)
    # Delta method, worked by hand: √(240²·v₁ + 200²·v₂)/.1 with v = p(1 − p)/200 of 101 in 202 and of 81 in 202.
    v1, v2 = 101 * 101 / 202**2 / 200, 81 * 121 / 202**2 / 200
    assert count.standard_error == pytest.approx(math.sqrt(240**2 * v1 + 200**2 * v2) / 0.1)


def test_a_share_that_did_not_move_as_the_sale_would_move_it_tells_nothing() -> None:
    for after in (SexCounts(20, 20), SexCounts(19, 21)):
        count = by_sexes(SexCounts(20, 20), after, SexCounts(0, 10))
        assert (count.estimate, count.lower, count.interval) == (None, None, None)
        assert "did not move" in count.notes[0]
    assert by_sexes(SexCounts(20, 20), SexCounts(21, 19), SexCounts(10, 10)).estimate is None  # both sexes alike


def test_a_sale_by_sex_leaves_no_fewer_than_were_taken() -> None:
    count = by_sexes(SexCounts(5, 5), SexCounts(6, 4), SexCounts(0, 30))
    assert count.estimate == pytest.approx(180)
    assert count.lower == 30
    assert by_sexes(SexCounts(5, 5), SexCounts(10, 0), SexCounts(0, 30)).standard_error > 0


def test_the_bound_of_a_sale_by_sex_is_safe() -> None:
    """Of 300 animals with as many of each sex 60 are sexed, 60 females sold, and 60 sexed again; 2000 such sales."""
    draw = np.random.default_rng(20260301)
    before, after = draw.hypergeometric(150, 150, 60, 2000), draw.hypergeometric(90, 150, 60, 2000)
    lower = [
        by_sexes(SexCounts(60 - b, b), SexCounts(60 - a, a), SexCounts(0, 60)).lower or 0.0
        for b, a in zip(before.tolist(), after.tolist(), strict=True)
    ]
    assert np.mean(np.array(lower) <= 300) >= 0.95
