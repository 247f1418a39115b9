"""Materials, boxes, packs, sun and the course of a day against values with their source in tests/published/heat.csv."""

from typing import Any

import numpy as np
import pytest

from breeder.core.thermal import box, diurnal, materials, packs, sun
from breeder.core.thermal.kit import Box, HeatPack, Layer
from tests.published.rows import Row, rows_of

INNER_M = (0.25, 0.20, 0.15)
BOARD = Layer("corrugated", 4)


def conductance(liner: list[Any]) -> float:
    return box.conductance_w_k(Box(INNER_M, (*(Layer(*one) for one in liner), BOARD)))


def parton_logan(given: list[Any]) -> list[float]:
    low, high, rise, fall, hours = given
    days = len(low)
    found = diurnal.parton_logan(
        np.array(low, float), np.array(high, float), np.full(days, float(rise)), np.full(days, float(fall))
    )
    return [float(np.ravel(found)[24 + hour]) for hour in hours]


CHECKS = {
    "conductance": conductance,
    "shape_factor": lambda given: box.shape_factor_m(tuple(given[:3]), given[3]),
    "moist": materials.moist_j_kgk,
    "pack_kj": lambda given: packs.energy_kj(HeatPack(*given)),
    "pack_mean_w": lambda given: packs.mean_w(HeatPack(*given)),
    "curve_hours": packs.curve_hours,
    "pack_w": lambda given: packs.power_w(HeatPack(given[0], given[1]), given[2]),
    "oxygen_l_h": packs.oxygen_use_l_h,
    "oxygen_share": lambda given: packs.oxygen_share(*given),
    "sun": lambda given: sun.sunrise_sunset_h(int(given[0]), *given[1:]),
    "sunrise": lambda given: sun.sunrise_sunset_h(int(given[0]), *given[1:])[0],
    "parton_logan": parton_logan,
}


@pytest.mark.parametrize("row", rows_of("heat.csv"), ids=str)
def test_published_and_computed_values(row: Row) -> None:
    assert CHECKS[row.check](row.inputs) == pytest.approx(row.expected, abs=row.tolerance)


def test_packs_between_the_printed_hours_lie_between_their_neighbours() -> None:
    assert packs.grams(HeatPack(50)) == pytest.approx(100)


def test_a_heat_pack_gives_all_its_energy_in_the_end() -> None:
    hour = np.linspace(0, 400, 400_001)
    given = np.trapezoid(packs.power_w(HeatPack(72, 125), hour), hour) * 3.6
    assert given == pytest.approx(382.5, abs=0.01)
    by_72 = hour <= 72
    share = np.trapezoid(packs.power_w(HeatPack(72, 125), hour[by_72]), hour[by_72]) * 3.6 / given
    assert share == pytest.approx(0.9808, abs=5e-5)
