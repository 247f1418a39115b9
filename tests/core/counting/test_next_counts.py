"""Which tubs to count next, and how much work a count takes."""

import math

import pytest
from scipy import stats

from breeder.core.counting.count_effort import passes_needed, removal_relative_error
from breeder.core.counting.count_priorities import (
    LineDoubt,
    TubDoubt,
    animals_kept_unsold,
    danger_chance,
    is_crash,
    lines_in_danger,
    next_counts,
)

RICH = LineDoubt("rich", (TubDoubt(1, 150, 70, 0.45), TubDoubt(2, 30, 12, 0.5)), 20)
POOR = LineDoubt("poor", (TubDoubt(3, 25, 12, 0.45),), 20)
SURE = LineDoubt("sure", (TubDoubt(4, 40, 40, 0.0),), 20)


def test_a_line_in_danger_comes_before_one_with_much_unsold() -> None:
    assert [wish.ref for wish in next_counts([RICH, POOR, SURE])] == [3, 1, 2]
    assert "poor may hold fewer than the 20" in next_counts([POOR])[0].why


def test_what_doubt_keeps_unsold_is_shared_over_its_tubs() -> None:
    assert animals_kept_unsold(RICH) == (180 - 20) - (82 - 20)
    wishes = next_counts([RICH])
    assert [wish.unsold for wish in wishes] == [pytest.approx(80), pytest.approx(18)]
    assert "about 80 animals" in wishes[0].why


def test_a_tub_known_exactly_needs_no_count() -> None:
    assert next_counts([SURE]) == []


def test_an_old_count_keeps_everything_unsold() -> None:
    old = LineDoubt("old", (TubDoubt(5, 90, 40, 0.4, stale=True),), 20)
    assert animals_kept_unsold(old) == 70
    assert "too old" in next_counts([old])[0].why


def test_at_most_25_are_suggested() -> None:
    lines = [LineDoubt(str(n), (TubDoubt(n, 150, 70, 0.4),), 20) for n in range(40)]
    assert len(next_counts(lines)) == 25
    assert len(next_counts(lines, most=5)) == 5


def test_the_chance_of_danger_is_that_of_the_joint_quantile() -> None:
    assert danger_chance(POOR) == pytest.approx(stats.norm.cdf(math.log(20 / 25) / 0.45))
    twins = LineDoubt("twins", (TubDoubt(6, 15, 5, 0.45), TubDoubt(7, 10, 5, 0.45)), 20)
    assert danger_chance(twins) == pytest.approx(danger_chance(POOR))
    assert danger_chance(LineDoubt("empty", (), 20)) == 1
    assert danger_chance(LineDoubt("free", (), 0)) == 0
    assert danger_chance(SURE) == 0


def test_dangers_are_listed_worst_first() -> None:
    worse = LineDoubt("worse", (TubDoubt(8, 21, 12, 0.45),), 20)
    assert [name for name, _ in lines_in_danger([RICH, POOR, SURE, worse])] == ["worse", "poor"]
    edge = TubDoubt(9, 20 * math.exp(0.45 * 1.66), 12, 0.45)  # 4.8 % likely to be below
    assert lines_in_danger([LineDoubt("edge", (edge,), 20)]) == []


def test_a_danger_that_is_known_needs_no_count() -> None:
    gone = LineDoubt("gone", (TubDoubt(5, 12, 11, 0.02),), 20)
    assert danger_chance(gone) == 1
    assert next_counts([gone]) == []


def test_what_a_harvest_share_forbids_is_not_lost_by_doubt() -> None:
    young = LineDoubt("young", (TubDoubt(1, 150, 70, 0.45),), 20, 5, harvest_share=0.3, free=16)
    assert animals_kept_unsold(young) == pytest.approx((0.3 * 150 - 5) - 16)
    plenty = LineDoubt("young", (TubDoubt(1, 30, 14, 0.45),), 20, 5, harvest_share=0.9, free=0)
    assert animals_kept_unsold(plenty) == pytest.approx(30 - 25)


def test_a_line_that_is_not_sold_is_counted_only_for_its_danger() -> None:
    resting = LineDoubt("resting", (TubDoubt(3, 25, 12, 0.45),), 20, sold=False)
    assert (animals_kept_unsold(resting), len(next_counts([resting]))) == (0, 1)
    assert next_counts([LineDoubt("rich", RICH.tubs, 20, sold=False)]) == []


def test_young_that_are_kept_back_are_no_danger_and_promised_ones_are() -> None:
    kept = LineDoubt("young", POOR.tubs, 20, needed=0)
    assert danger_chance(kept) == 0
    promised = LineDoubt("It", POOR.tubs, 15, 5)
    assert "It may hold fewer than the 20 that stay and are promised" in next_counts([promised])[0].why
    assert "20 that must stay" in next_counts([POOR])[0].why


def test_half_the_animals_gone_is_a_crash() -> None:
    assert is_crash(100, 49)
    assert not is_crash(100, 50)


def test_passes_needed_is_the_first_number_that_is_precise_enough() -> None:
    passes = passes_needed(100, 0.4, 0.10)
    assert removal_relative_error(100, 0.4, passes) <= 0.10 < removal_relative_error(100, 0.4, passes - 1)
