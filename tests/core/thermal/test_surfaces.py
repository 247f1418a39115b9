"""Compare the surface films and air gaps of the kits with the physics behind them."""

import math

import numpy as np
import pytest

from breeder.core.thermal.box import FILMS, Network
from breeder.core.thermal.materials import FOIL_GAP_M2K_W, KELVIN, STEFAN_BOLTZMANN, STILL_AIR_W_MK
from breeder.core.thermal.sun import clearness, doorstep_rise_k


def radiation_w_m2k(one_c: float, other_c: float, emissivity: float) -> float:
    first, other = one_c + KELVIN, other_c + KELVIN
    return emissivity * STEFAN_BOLTZMANN * (first**2 + other**2) * (first + other)


def plate_w_m2k(surface_c: float, air_c: float, height_m: float) -> float:
    """Natural convection at an upright plate, laminar: Churchill & Chu 1975, Int. J. Heat Mass Transfer 18:1323."""
    mean = (surface_c + air_c) / 2 + KELVIN
    viscosity = 1.458e-6 * mean**1.5 / (mean + 110.4)  # Sutherland
    conductivity = 2.64638e-3 * mean**1.5 / (mean + 245.4 * 10 ** (-12 / mean))
    density = 101_325 / (287.05 * mean)
    prandtl = viscosity * 1006 / conductivity
    rayleigh = 9.81 / mean * abs(surface_c - air_c) * height_m**3 * prandtl * (density / viscosity) ** 2
    nusselt = 0.68 + 0.67 * rayleigh**0.25 / (1 + (0.492 / prandtl) ** (9 / 16)) ** (4 / 9)
    return nusselt * conductivity / height_m


@pytest.mark.parametrize(("surface_c", "air_c", "expected"), [(20, 15, 7.904), (10, 0, 7.868), (35, 30, 8.676)])
def test_films_by_physics(surface_c: float, air_c: float, expected: float) -> None:
    """Upright side of 0.25 m, emissivity 0.9: computed (no outside source)."""
    film = plate_w_m2k(surface_c, air_c, 0.25) + radiation_w_m2k(surface_c, air_c, 0.9)
    assert film == pytest.approx(expected, abs=0.03)


def test_the_indoor_film_is_that_of_still_air() -> None:
    """ASHRAE Fundamentals, still air, upright, emissivity 0.90: 8.29 W/m2K (from memory)."""
    assert FILMS["indoors"] == pytest.approx(8.29, abs=0.02)
    assert FILMS["indoors"] < FILMS["porch"] < FILMS["windy"]


def test_linear_radiation_at_20_degrees() -> None:
    assert radiation_w_m2k(20, 20, 0.9) == pytest.approx(5.1426, abs=1e-4)


def gap_m2k_w(mm: float, first: float, other: float) -> float:
    together = 1 / (1 / first + 1 / other - 1)
    return 1 / (STILL_AIR_W_MK / (mm / 1000) + radiation_w_m2k(20, 15, together))


def test_gaps_of_still_air_by_physics_and_what_the_kits_credit() -> None:
    """Conduction and radiation side by side: computed (no outside source). Real gaps are uneven and count for less."""
    assert gap_m2k_w(12, 0.9, 0.9) == pytest.approx(0.149, abs=0.001)
    assert gap_m2k_w(12, 0.03, 0.9) == pytest.approx(0.433, abs=0.001)
    assert gap_m2k_w(6, 0.03, 0.9) == pytest.approx(0.225, abs=0.001)
    assert FOIL_GAP_M2K_W[6.0] == pytest.approx(gap_m2k_w(6, 0.03, 0.9), abs=0.001)
    assert gap_m2k_w(12, 0.9, 0.9) < FOIL_GAP_M2K_W[12.0] < gap_m2k_w(12, 0.03, 0.9)


@pytest.mark.parametrize(("film", "expected"), [(17, 8.7), (10, 14.8), (25, 5.9)])
def test_a_brown_box_in_full_sun_on_a_doorstep(film: float, expected: float) -> None:
    """Sol-air rise at 800 and 400 W/m2, absorptance 0.65 (from memory): computed (no outside source)."""
    assert doorstep_rise_k(800, 400, (0.29, 0.24, 0.19), film) == pytest.approx(expected, abs=0.06)


def test_the_sun_comes_through_by_the_range_of_the_day_but_never_more_than_three_quarters() -> None:
    """Hargreaves & Samani 1982: 0.17 sqrt(16) = 0.68; FAO-56 caps clear sky at 0.75."""
    assert clearness([5.0, 0.0, 9.0], [21.0, 36.0, 9.0]) == pytest.approx([0.68, 0.75, 0.0])


def test_the_slow_time_constant_is_nearly_the_elmore_delay() -> None:
    """Computed (no outside source): exact 2.0372 h, Elmore C_i/UA_e + C_p (1/UA_e + 1/UA_p) = 2.1052 h."""
    a, _ = Network(1.2, 450.0, 2153.0, (0.45,)).matrices()
    slow_h = -1 / np.linalg.eigvals(a).real.max() / 3600
    assert slow_h == pytest.approx(2.0372, abs=1e-4)
    elmore_h = (450 / 0.45 + 2153 * (1 / 0.45 + 1 / 1.2)) / 3600
    assert elmore_h == pytest.approx(2.1052, abs=1e-4)


def test_eigenvalues_of_the_two_node_box_to_the_digits() -> None:
    """Computed (no outside source)."""
    a, _ = Network(1.5, 600.0, 2500.0, (0.5,)).matrices()
    fast, slow = sorted(np.linalg.eigvals(a).real)
    assert slow == pytest.approx(-1.3151605220e-4, rel=1e-9)
    assert fast == pytest.approx(-3.8018172811e-3, rel=1e-9)
    assert math.isclose(-1 / slow, 7603.634562, abs_tol=1e-5)
