"""Every published, remembered or worked-out value of breeders and surplus, each against the code's function."""

from collections.abc import Callable
from typing import Any

import pytest

from breeder.core.reserve import allele_retention, demography, effective_size, rotational_mating, starters
from breeder.core.reserve.point_surplus import surplus_of_estimate
from tests.published.rows import MARKS, Row, rows_of

ROWS = rows_of("reserve.csv")


def surplus(estimate: float, error: float, portions: int, minimum: int) -> list[float]:
    lot = surplus_of_estimate(estimate, error, portions, minimum, 0, 0.0, 0.95)
    return [lot.lower, lot.surplus]


def tubs_alike(tubs: int, males: int, females: int) -> list[rotational_mating.TubBreeders]:
    return [rotational_mating.TubBreeders(number, males, females) for number in range(tubs)]


def apart(tubs: int, males: int, females: int, generations: int) -> list[float]:
    return rotational_mating.inbreeding_of_tubs(tubs_alike(tubs, males, females), range(tubs), generations)


def in_circle(tubs: int, males: int, females: int, generations: int) -> float:
    way = rotational_mating.sires_from_previous_tub(tubs)
    return rotational_mating.inbreeding_of_tubs(tubs_alike(tubs, males, females), way, generations)[-1]


CHECKS: dict[str, Callable[..., Any]] = {
    "effective_size": effective_size.effective_size,
    "inbreeding_per_generation": effective_size.inbreeding_per_generation,
    "families": effective_size.effective_size_of_families,
    "haplodiploid": effective_size.effective_size_one_sex_haploid,
    "over_time": lambda *sizes: effective_size.effective_size_over_time(sizes),
    "inbreeding_after": effective_size.inbreeding_after,
    "two_sexes": effective_size.inbreeding_two_sexes,
    "partners": effective_size.partners_needed,
    "sexed": effective_size.animals_needed_sexed,
    "unsexed": effective_size.animals_needed_unsexed,
    "needed": effective_size.effective_size_needed,
    "generations_until": effective_size.generations_until,
    "allele": allele_retention.animals_needed_for_allele,
    "allele_lost": allele_retention.chance_allele_lost,
    "variety": allele_retention.variety_kept,
    "both_sexes": starters.chance_of_both_sexes,
    "starter": starters.starter_needed,
    "of_each": starters.animals_needed_for_each,
    "from_tub": starters.chance_of_both_sexes_from_tub,
    "alive": starters.chance_enough_alive,
    "line_ends": demography.chance_line_of_one_ends,
    "ended_by": demography.chance_ended_by,
    "ever_down": demography.chance_ever_down_to,
    "drift_apart": allele_retention.drift_apart,
    "plateau": allele_retention.plateau_of_inbreeding,
    "fitness": allele_retention.fitness_kept,
    "copy_kept": allele_retention.chance_copy_kept,
    "selfing": effective_size.effective_size_selfing,
    "founders": lambda *shares: allele_retention.founder_equivalents(shares),
    "surplus": surplus,
    "apart": lambda *given: apart(*given)[-1],
    "apart_each": apart,
    "circle": in_circle,
}


@pytest.mark.parametrize("row", ROWS, ids=str)
def test_the_room_gives_the_published_value(row: Row) -> None:
    inputs = row.inputs if isinstance(row.inputs, list) else [row.inputs]
    assert CHECKS[row.check](*inputs) == pytest.approx(row.expected, abs=row.tolerance + 1e-12, rel=0)


def test_every_row_names_its_source_and_its_mark() -> None:
    assert all(row.source and row.mark.startswith(MARKS) for row in ROWS)
