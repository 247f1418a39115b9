"""How few breeders end by bad luck alone: the floor is simulated again here, with no outside source."""

import numpy as np
import pytest

from breeder.core.reserve.breeding_minimum import binding_minimum
from breeder.core.reserve.defaults import DAUGHTERS_PER_FEMALE, EXTINCTION_RISK
from breeder.core.reserve.demography import (
    chance_ever_down_to,
    chance_line_of_one_ends,
    demographic_floor,
    floor_without_sexes,
)

RUNS, GENERATIONS, FULL_TUB = 20_000, 12, 2000
ABOUT_1_IN_20 = 0.055  # with the simulation's own error: 0.05 + 3 · √(0.05 · 0.95 / 20,000)


def share_that_ends(adults: int, share_female: float) -> float:
    """Share of lines that lose a sex: sexes at random, Poisson young worth 1.5 daughters a female."""
    draw = np.random.default_rng(adults)
    females = draw.binomial(adults, share_female, RUNS)
    males = adults - females
    for _ in range(GENERATIONS):
        mothers = np.where(males > 0, females, 0)
        young = np.minimum(draw.poisson(1.5 / share_female * mothers), FULL_TUB)
        females = draw.binomial(young, share_female)
        males = young - females
    return float(np.mean((females == 0) | (males == 0)))


@pytest.mark.parametrize("share", [0.05, 0.1, 0.15, 0.25, 0.4, 0.5, 0.55, 0.6, 0.65, 0.7, 0.75, 0.8, 0.85, 0.9, 0.98])
def test_a_line_at_its_floor_ends_by_bad_luck_about_once_in_twenty(share: float) -> None:
    floor = demographic_floor(share)
    assert floor is not None
    assert share_that_ends(floor, share) <= ABOUT_1_IN_20
    assert share_that_ends(floor - max(2, floor // 5), share) > EXTINCTION_RISK  # and the floor is not needlessly high


def test_lines_of_females_that_breed_alone_make_no_floor_for_two_sexes() -> None:
    # The control: as many females as have lines of their own, divided by their share.
    alone = {share: -int(-(floor_without_sexes() or 0) // share) for share in (0.5, 0.8, 0.9)}
    assert alone == {0.5: 8, 0.8: 5, 0.9: 5}
    assert [round(share_that_ends(number, share), 1) for share, number in alone.items()] == [0.1, 0.7, 0.9]


@pytest.mark.parametrize(("share", "adults"), [(0.5, 10), (0.6, 10), (0.7, 12), (0.75, 14), (0.8, 17), (0.9, 33)])
def test_the_floor_keeps_the_simulated_numbers(share: float, adults: int) -> None:
    assert demographic_floor(share) == adults
    assert binding_minimum(0, each_sex=0, share_female=share).number == adults


def test_a_missing_sex_has_no_floor_and_clonal_lines_need_no_second_one() -> None:
    assert demographic_floor(0.0) is demographic_floor(1.0) is None
    ends = chance_line_of_one_ends(DAUGHTERS_PER_FEMALE)
    alone = floor_without_sexes()
    assert alone is not None
    assert ends**alone <= EXTINCTION_RISK < ends ** (alone - 1)
    assert binding_minimum(0, reproduction="clonal").number == alone == 4
    assert (floor_without_sexes(1.2), floor_without_sexes(10), floor_without_sexes(1.0)) == (8, 1, None)


def test_luck_at_its_edges() -> None:
    # Judgement and common practice, no source.
    assert (EXTINCTION_RISK, DAUGHTERS_PER_FEMALE) == (0.05, 1.5)
    assert chance_line_of_one_ends(0.9) == 1
    assert chance_ever_down_to(10, 40, 0.0, 0.2) == 1
    assert chance_ever_down_to(40, 10, 0.1, 0.2) == 1
