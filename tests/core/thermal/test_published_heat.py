"""Compare materials, boxes, packs, sun and the daily course with published values in tests/published/heat.csv."""

from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from breeder.core.thermal import box, diurnal, materials, packs, sun
from breeder.core.thermal.kit import HeatPack, ShippingBox, WallLayer
from tests.published.rows import Row, rows_of

INNER_M = (0.25, 0.20, 0.15)
BOARD = WallLayer("corrugated", 4)


def conductance(liner: list[Any]) -> float:
    return box.conductance_w_k(ShippingBox(INNER_M, (*(WallLayer(*layer) for layer in liner), BOARD)))


def parton_logan(given: list[Any]) -> list[float]:
    low, high, rise, fall, hours = given
    days = len(low)
    temperatures = diurnal.parton_logan(
        np.array(low, float), np.array(high, float), np.full(days, float(rise)), np.full(days, float(fall))
    )
    return [float(np.ravel(temperatures)[24 + hour]) for hour in hours]


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


@pytest.mark.parametrize("air_changes_h", [0.05, 0.15, 0.6, 1.5])
@pytest.mark.parametrize("energy", [0.6, 1.0, 1.6])
def test_a_pack_short_of_oxygen_burns_longer_and_loses_no_energy(air_changes_h: float, energy: float) -> None:
    """Conservation of energy; the power that little oxygen allows is the steady balance of the box (heat.csv)."""
    hour = np.linspace(0, 800, 80_001)
    given_w = packs.together_w([HeatPack(72, 125)], hour, air_changes_h=air_changes_h, free_litres=6.75, energy=energy)
    assert np.trapezoid(given_w, hour) * 3.6 == pytest.approx(energy * 382.5, rel=0.01)
    plenty = energy * packs.power_w(HeatPack(72, 125), hour)
    assert given_w.max() < plenty.max()
    # No more power than the incoming oxygen allows, and still warm when a pack in the open is spent.
    assert packs.oxygen_use_l_h(given_w).max() < air_changes_h * 6.75 * packs.OXYGEN_IN_AIR
    assert given_w[hour == 90][0] > 1.5 * plenty[hour == 90][0]


def test_packs_opened_at_different_hours_share_the_oxygen_as_the_differential_equations_say() -> None:
    """Each pack ages along its curve at the share of oxygen that both leave (scipy's adaptive solver)."""
    two, air = (HeatPack(72, 125, -1), HeatPack(40, 90, 10)), {"air_changes_h": 0.3, "free_litres": 6.0}

    def powers(age: np.ndarray) -> list[float]:
        return [float(packs.power_w(HeatPack(pack.rated_h, pack.grams), at)) for pack, at in zip(two, age, strict=True)]

    def ageing(hour: float, age: np.ndarray) -> list[float]:
        share = float(packs.oxygen_share(sum(powers(age)), *air.values()))
        return [share, share if hour >= 10 else 0.0]

    hours, rows = np.array([5.0, 10.0, 11.0, 30.0, 100.0]), []
    for begin, end, age in ((0.0, 10.0, [1.0, 0.0]), (10.0, 100.0, None)):
        within = hours[(hours > begin) & (hours <= end)]
        ages = solve_ivp(ageing, (begin, end), age or rows[-1], rtol=1e-9, atol=1e-9, max_step=0.5, t_eval=within).y
        rows += list(ages.T)
    burning = packs.burn(two, hours, **air)
    for place, age in enumerate(rows):
        share = float(packs.oxygen_share(sum(powers(age)), *air.values()))
        assert burning.share[place] == pytest.approx(share, abs=1e-6)
        assert [each[place] for each in burning.power_w] == pytest.approx([share * w for w in powers(age)], abs=1e-6)
