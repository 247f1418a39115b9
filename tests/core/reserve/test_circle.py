"""Males that go round a circle of tubs slow inbreeding, and every tub is told whose males it gets."""

import numpy as np
import pytest

from breeder.core.reserve.advice import Kept, outlook
from breeder.core.reserve.breeding_minimum import Advice, binding_minimum
from breeder.core.reserve.rotational_mating import TubBreeders, advice, inbreeding_of_tubs, round_the_circle

THREE = (TubBreeders(14, 10, 20), TubBreeders(17, 12, 18), TubBreeders(21, 8, 22))
SHARES = {"years": 5, "generation_days": 245, "effective_share": 0.3}


def dropped(tubs: list[tuple[int, int]], sires_from: list[int], generations: int, runs: int) -> float:
    """Mean inbreeding by dropping single genes: every founder gene is its own kind, and alike genes are counted."""
    dice = np.random.default_rng(20260301)
    each = sum(males + females for males, females in tubs)
    genes = np.broadcast_to(np.arange(2 * each).reshape(each, 2), (runs, each, 2)).copy()
    starts = np.cumsum([0, *(males + females for males, females in tubs)])
    row = np.arange(runs)[:, None]
    for _ in range(generations):
        born = np.empty_like(genes)
        for place, (males, females) in enumerate(tubs):
            here, giver = starts[place], sires_from[place]
            young = slice(here, here + males + females)
            shape = (runs, males + females)
            sires = starts[giver] + dice.integers(tubs[giver][0], size=shape)
            dams = here + males + dice.integers(females, size=shape)
            born[:, young, 0] = genes[row, sires, dice.integers(2, size=shape)]
            born[:, young, 1] = genes[row, dams, dice.integers(2, size=shape)]
        genes = born
    alike = genes[..., 0] == genes[..., 1]
    return float(np.mean([alike[:, starts[n] : starts[n + 1]].mean() for n in range(len(tubs))]))


@pytest.mark.parametrize("sires_from", [[0, 1, 2], [2, 0, 1]], ids=["apart", "circle"])
def test_genes_dropped_down_the_tubs_come_to_the_same_inbreeding(sires_from: list[int]) -> None:
    """An independent way to the number: 4000 runs, whose own error is about 0.003."""
    tubs = [(2, 4), (1, 5), (3, 3)]
    ours = inbreeding_of_tubs([TubBreeders(n, m, f) for n, (m, f) in enumerate(tubs)], sires_from, 6)[-1]
    assert dropped(tubs, sires_from, 6, 4000) == pytest.approx(ours, abs=0.012)


def test_the_circle_starts_later_and_settles_far_below_tubs_that_keep_their_own_males() -> None:
    """Rotating males took sheep flocks from over 1.5 % a year to .16 % (Windig & Kaal 2008): the same order here."""
    tubs = [TubBreeders(n, 2, 6) for n in range(8)]
    circle, apart = (inbreeding_of_tubs(tubs, way, 60) for way in (round_the_circle(8), range(8)))
    assert circle[:2] == [0, 0]
    assert circle[2] > 0
    assert apart[1] > 0
    settled = 1 - (1 - circle[-1]) / (1 - circle[-2])
    alone = 1 - (1 - apart[4]) / (1 - apart[3])
    assert settled < alone / 7


def test_each_tub_is_told_whose_males_it_gets_in_the_order_of_their_numbers() -> None:
    way, worth, care = advice(tuple(reversed(THREE)), **SHARES)
    assert "14 → 17 → 21 → 14" in way
    assert "once a generation" in way
    counted = [TubBreeders(one.tub, 0.3 * one.males, 0.3 * one.females) for one in THREE]
    circle, apart = (inbreeding_of_tubs(counted, way, 7)[-1] for way in ([2, 0, 1], [0, 1, 2]))
    assert f"After 5 years (7 generations) inbreeding is then about {circle:.1%} instead of {apart:.1%}" in worth
    assert "30%" in worth
    assert "before the females of the new tub have mated" in care


def test_without_a_generation_time_it_is_told_for_ten_generations() -> None:
    _, worth, _ = advice(THREE, **SHARES | {"generation_days": None})
    assert worth.startswith("After 10 generations ")
    _, one, _ = advice(THREE, **SHARES | {"years": 1, "generation_days": 300})
    assert one.startswith("After 1 years (1 generation) ")


def test_a_tub_that_lacks_a_sex_is_left_out_and_one_tub_is_no_circle() -> None:
    lacking = TubBreeders(9, 0, 30)
    assert "9" not in advice((lacking, *THREE), **SHARES)[0]
    assert advice((lacking, THREE[0]), **SHARES) == ()
    assert len(advice(THREE[:2], **SHARES)) == 3
    with pytest.raises(ValueError, match="needs males and females"):
        inbreeding_of_tubs([lacking], [0], 3)


def test_however_few_count_inbreeding_stays_a_share() -> None:
    few = (TubBreeders(1, 1, 1), TubBreeders(2, 1, 2))
    _, worth, _ = advice(few, years=50, generation_days=60, effective_share=0.01)
    shown = [float(word.rstrip("%")) for word in worth.split() if word.endswith("%")]
    assert all(0 <= share <= 100 for share in shown)


def test_the_outlook_of_a_line_with_two_sexes_ends_with_its_circle() -> None:
    minimum = binding_minimum(20, advice=Advice(245))
    kept = Kept(90, 30, 60, generation_days=245, tubs=THREE)
    assert outlook(kept, minimum)[-3:] == advice(THREE, **SHARES)
    clonal = Kept(90, None, None, reproduction="clonal", tubs=THREE)
    assert not any("→" in said for said in outlook(clonal, minimum))
