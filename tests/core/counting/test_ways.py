"""Which counting method is worth its time. The minutes and the clustering are common practice, no source."""

import math

import pytest
from scipy import stats

from breeder.core.counting.defaults import SHARED_SD
from breeder.core.counting.method_choice import (
    method_options,
    portions_for_spread,
    portions_spread,
    portions_to_halve,
    worthwhile_method,
)

Z = float(stats.norm.ppf(0.95))


def spread(likely: float, m: int, each: float = 1 / 80, shared: float = 0.10) -> float:
    """Worked by hand: negative binomial portions with k = 2, finite tub, t of m − 1."""
    cv = math.sqrt((1 - m * each) * (1 / (likely * each) + 1 / 2) / m)
    return math.hypot(float(stats.t.ppf(0.95, m - 1)) / Z * math.sqrt(math.log1p(cv**2)), shared)


def test_portions_leave_what_clusters_and_a_finite_tub_make_of_them() -> None:
    assert portions_spread(800, 8, 1 / 80, 0.10) == pytest.approx(spread(800, 8))
    assert portions_spread(800, 80, 1 / 80, 0.10) == pytest.approx(0.10)


def test_ways_come_by_the_minutes_they_take() -> None:
    eye, portions, sort = method_options(300)
    assert (eye.method, portions.method, sort.method) == ("eye", "portions", "full_sort")
    assert (eye.minutes, portions.minutes, portions.portions, sort.minutes) == (1, 16, 8, 10 + 300 / 10)
    assert [way.method for way in method_options(50)] == ["eye", "full_sort", "portions"]
    assert eye.log_sd == pytest.approx(math.hypot(math.log(500 / 250) / 3.29, 0.35))
    assert portions.log_sd == pytest.approx(spread(300, 8))
    assert sort.relied == pytest.approx(300 * math.exp(-Z * 0.02))


def test_the_quickest_way_that_wins_back_half_is_advised() -> None:
    assert worthwhile_method(2000, 0).method == "eye"  # type: ignore[union-attr]
    eye = 150 * math.exp(-Z * math.hypot(math.log(250 / 100) / 3.29, 0.35))
    assert worthwhile_method(150, 2 * eye - 151).method == "eye"  # type: ignore[union-attr]
    assert worthwhile_method(150, 2 * eye - 149).method == "portions"  # type: ignore[union-attr]


def test_with_much_at_stake_in_a_full_tub_portions_do() -> None:
    sure = {**SHARED_SD, "portions": 0.02}
    advised = worthwhile_method(6000, 1500, shared=sure)
    assert advised is not None
    assert advised.method in ("portions", "full_sort")
    assert worthwhile_method(100, 97) is None


def test_near_a_minimum_only_the_surest_count_is_advised() -> None:
    assert worthwhile_method(25, 12, danger=True).method == "full_sort"  # type: ignore[union-attr]


def test_a_keeper_with_a_good_eye_is_asked_for_a_guess() -> None:
    good = {**SHARED_SD, "eye": 0.05}
    assert worthwhile_method(150, 35).method != "eye"  # type: ignore[union-attr]
    assert worthwhile_method(150, 35, shared=good).method == "eye"  # type: ignore[union-attr]


def test_the_portions_that_halve_a_doubt_are_the_fewest_that_do() -> None:
    needed = portions_for_spread(400, 0.25)
    assert needed is not None
    assert spread(400, needed) <= 0.25 < spread(400, needed - 1)
    assert portions_for_spread(400, 0.09) is None


def test_portions_more_to_halve_the_doubt_counts_both_t_and_root() -> None:
    more = portions_to_halve(8, 0.001)
    assert more is not None

    def doubt(m: int) -> float:
        return float(stats.t.ppf(0.95, m - 1)) * math.sqrt((1 - 0.000125 * m) / m)

    assert doubt(8 + more) <= doubt(8) / 2 < doubt(8 + more - 1)
    assert portions_to_halve(2, 0.01) == 1  # t falls from 6.3 to 2.9
    assert portions_to_halve(4, 0.9) is None
