"""A bound at any confidence is the method's own quantile, and more confidence never gives a higher bound."""

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy import stats

from breeder.core.counting.methods.change_in_ratio import SexCounts, by_sexes
from breeder.core.counting.methods.count import Count
from breeder.core.counting.methods.direct import after_sale, count_after_sale, full_sort, hand, weight
from breeder.core.counting.methods.mark_recapture import marked
from breeder.core.counting.methods.removal import removal
from breeder.core.counting.methods.subsample import portions
from breeder.core.counting.methods.visual import eye, index, piece
from breeder.core.counting.observer_bias import without_bias

CONFIDENCES = (0.80, 0.90, 0.95, 0.99, 0.999)


def every_method(confidence: float, shared_sd: float) -> list[Count]:
    options = {"confidence": confidence, "shared_sd": shared_sd}
    counts = [
        eye(25, 50, **options),
        hand(120, 0.05, **options),
        full_sort(80, **options),
        portions([9, 14, 6], [50, 50, 50], 4000, **options),
        portions([3, 3], [1, 1], 80, **options),
        piece(12, 6, **options),
        index(27, 18, 60, **options),
        index(40, 1, 60, **options),
        weight(50, 4.1, 96, **options),
        marked(421, 332, 88, **options),
        marked(5, 9, 0, **options),
        removal((38, 26, 12), **options),
        removal((5, 7, 8), **options),
        after_sale(60, 42, 40, **options),
        by_sexes(SexCounts(40, 40), SexCounts(60, 20), SexCounts(0, 40), **options),
    ]
    return [*counts, *map(count_after_sale, counts[-2:]), without_bias(counts[0], -0.2, 9)]


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
