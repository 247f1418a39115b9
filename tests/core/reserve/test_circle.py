"""Males that move around a circle of tubs slow inbreeding, and the advice names the donor of every tub."""

import numpy as np
import pytest

from breeder.core.reserve.advice import KnownBreeders, outlook_text
from breeder.core.reserve.breeding_minimum import Advice, binding_minimum
from breeder.core.reserve.rotational_mating import (
    TubBreeders,
    inbreeding_of_tubs,
    rotation_text,
    sires_from_previous_tub,
)

THREE = (TubBreeders(14, 10, 20), TubBreeders(17, 12, 18), TubBreeders(21, 8, 22))
SHARES = {"years": 5, "generation_days": 245, "effective_share": 0.3}


def dropped(tubs: list[tuple[int, int]], sires_from: list[int], generations: int, runs: int) -> float:
    """Return mean inbreeding by gene dropping: every founder gene is unique, and identical pairs are counted."""
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
    """An independent computation: 4000 runs, with an error of about 0.003."""
    tubs = [(2, 4), (1, 5), (3, 3)]
    ours = inbreeding_of_tubs([TubBreeders(n, m, f) for n, (m, f) in enumerate(tubs)], sires_from, 6)[-1]
    assert dropped(tubs, sires_from, 6, 4000) == pytest.approx(ours, abs=0.012)


def test_the_circle_starts_later_and_settles_far_below_tubs_that_keep_their_own_males() -> None:
    """Rotating males took sheep flocks from over 1.5 % a year to .16 % (Windig & Kaal 2008): the same order here."""
    tubs = [TubBreeders(n, 2, 6) for n in range(8)]
    circle, apart = (inbreeding_of_tubs(tubs, way, 60) for way in (sires_from_previous_tub(8), range(8)))
    assert circle[:2] == [0, 0]
    assert circle[2] > 0
    assert apart[1] > 0
    settled = 1 - (1 - circle[-1]) / (1 - circle[-2])
    alone = 1 - (1 - apart[4]) / (1 - apart[3])
    assert settled < alone / 7


def test_the_advice_names_the_donor_of_each_tub_in_the_order_of_numbers() -> None:
    way, worth, care = rotation_text(tuple(reversed(THREE)), **SHARES)
    assert "14 → 17 → 21 → 14" in way
    assert "once a generation" in way
    counted = [TubBreeders(tub.tub, 0.3 * tub.males, 0.3 * tub.females) for tub in THREE]
    circle, apart = (inbreeding_of_tubs(counted, way, 7)[-1] for way in ([2, 0, 1], [0, 1, 2]))
    assert f"After 5 years (7 generations) inbreeding is then about {circle:.1%} instead of {apart:.1%}" in worth
    assert "30%" in worth
    assert "before the females of the new tub have mated" in care


def test_without_a_generation_time_the_advice_covers_ten_generations() -> None:
    _, worth, _ = rotation_text(THREE, **SHARES | {"generation_days": None})
    assert worth.startswith("After 10 generations ")
    _, worth, _ = rotation_text(THREE, **SHARES | {"years": 1, "generation_days": 300})
    assert worth.startswith("After 1 year (1 generation) ")


def test_a_tub_that_lacks_a_sex_is_left_out_and_one_tub_is_no_circle() -> None:
    lacking = TubBreeders(9, 0, 30)
    assert "9" not in rotation_text((lacking, *THREE), **SHARES)[0]
    assert rotation_text((lacking, THREE[0]), **SHARES) == ()
    assert len(rotation_text(THREE[:2], **SHARES)) == 3
    with pytest.raises(ValueError, match="needs males and females"):
        inbreeding_of_tubs([lacking], [0], 3)


def test_however_few_count_inbreeding_stays_a_share() -> None:
    few = (TubBreeders(1, 1, 1), TubBreeders(2, 1, 2))
    _, worth, _ = rotation_text(few, years=50, generation_days=60, effective_share=0.01)
    shown = [float(word.rstrip("%")) for word in worth.split() if word.endswith("%")]
    assert all(0 <= share <= 100 for share in shown)


def test_the_outlook_of_a_line_with_two_sexes_ends_with_its_circle() -> None:
    minimum = binding_minimum(20, advice=Advice(245))
    kept = KnownBreeders(90, 30, 60, generation_days=245, tubs=THREE)
    assert outlook_text(kept, minimum)[-3:] == rotation_text(THREE, **SHARES)
    clonal = KnownBreeders(90, None, None, reproduction="clonal", tubs=THREE)
    assert not any("→" in sentence for sentence in outlook_text(clonal, minimum))
