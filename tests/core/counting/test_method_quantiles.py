"""A bound at any confidence is the method's own quantile, and more confidence never gives a higher bound."""

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy import stats

from breeder.core.counting.methods import (
    Count,
    Sexes,
    after_sale,
    by_sexes,
    eye,
    full_sort,
    hand,
    index,
    left_after,
    marked,
    piece,
    portions,
    removal,
    weight,
)
from breeder.core.counting.observer_bias import unbiased

CONFIDENCES = (0.80, 0.90, 0.95, 0.99, 0.999)


def every_method(confidence: float, shared_sd: float) -> list[Count]:
    own = {"confidence": confidence, "shared_sd": shared_sd}
    counts = [
        eye(25, 50, **own),
        hand(120, 0.05, **own),
        full_sort(80, **own),
        portions([9, 14, 6], [50, 50, 50], 4000, **own),
        portions([3, 3], [1, 1], 80, **own),
        piece(12, 6, **own),
        index(27, 18, 60, **own),
        index(40, 1, 60, **own),
        weight(50, 4.1, 96, **own),
        marked(421, 332, 88, **own),
        marked(5, 9, 0, **own),
        removal((38, 26, 12), **own),
        removal((5, 7, 8), **own),
        after_sale(60, 42, 40, **own),
        by_sexes(Sexes(40, 40), Sexes(60, 20), Sexes(0, 40), **own),
    ]
    return [*counts, *map(left_after, counts[-2:]), unbiased(counts[0], -0.2, 9)]


@pytest.mark.parametrize("shared_sd", [0.0, 0.25])
def test_more_confidence_never_gives_a_higher_bound(shared_sd: float) -> None:
    for counts in zip(*(every_method(confidence, shared_sd) for confidence in CONFIDENCES), strict=True):
        bounds = [count.lower for count in counts if count.lower is not None]
        assert len(bounds) in (0, len(CONFIDENCES))
        assert all(later <= earlier for earlier, later in pairwise(bounds)), counts[0].method
        assert all(bound <= (counts[0].estimate or 0.0) for bound in bounds), counts[0].method
        assert len({count.log_sd for count in counts}) == 1  # what is stored stays the 95 % spread


def test_three_portions_at_99_percent_are_bounded_by_student_not_by_a_normal_through_the_95_percent_bound() -> None:
    count, usual = (portions([9, 14, 6], [50, 50, 50], 4000, confidence=level) for level in (0.99, 0.95))
    assert count.estimate is not None
    assert usual.log_sd is not None
    assert count.standard_error is not None
    spread = math.sqrt(math.log1p((count.standard_error / count.estimate) ** 2))
    assert count.lower == pytest.approx(count.estimate * math.exp(-stats.t.ppf(0.99, 2) * spread))
    through = count.estimate * math.exp(-stats.norm.ppf(0.99) * usual.log_sd)
    assert count.lower < 0.75 * through
    shared = portions([9, 14, 6], [50, 50, 50], 4000, confidence=0.99, shared_sd=0.1)
    reach = math.hypot(stats.t.ppf(0.99, 2) * spread, stats.norm.ppf(0.99) * 0.1)
    assert shared.lower == pytest.approx(count.estimate * math.exp(-reach))


@pytest.mark.parametrize("confidence", CONFIDENCES)
def test_marked_and_removed_animals_are_bounded_by_their_own_likelihood(confidence: float) -> None:
    held = marked(421, 332, 88, confidence=confidence).lower
    assert held is not None
    tails = [stats.hypergeom(int(number), 421, 332).cdf(88) for number in (held - 1, held)]
    assert tails[0] <= 1 - confidence < tails[1]
    held = removal((38, 26, 12), confidence=confidence).lower
    numbers = np.arange(76, 400)
    left = numbers - np.array([[0], [38], [64]])
    likely = stats.binom(left, 76 / left.sum(axis=0)).logpmf(np.array([[38], [26], [12]])).sum(axis=0)
    least = likely.max() - stats.norm.ppf(confidence) ** 2 / 2
    assert held == numbers[np.argmax(likely >= least)]
