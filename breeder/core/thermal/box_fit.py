"""A box's own conductance from a logger beside a water bottle, or from an ice-melt weighing.

With outside and inside alone only ratios can be known, so the water of the bottle must be: its heat scales all else.
Output-error fit: the model runs through the whole course and is compared with what was logged.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .first_order_hold import first_order_hold
from .materials import ICE_MELT_KJ_KG, SECONDS_PER_HOUR, WATER_J_KGK

Array = NDArray[np.float64]

LEAST_HOURS = 20.0  # a day's swing, nearly
MOST_HOURS = 7 * 24.0  # a week says all that a box has to say; a wrong year in one row would make decades of it
LEAST_SWING_K = 10.0
MOST_SD_LN = 0.15
MOST_RESIDUAL_K = 0.5
GRID_S = 300.0
GUESS_W_K, GUESS_BOTTLE_W_K, GUESS_AIR_J_K = 0.4, 1.2, 450.0
LOOSE = np.log([GUESS_BOTTLE_W_K, GUESS_AIR_J_K])
LOOSE_SD_LN = 0.5  # what is known beforehand of film and air: a logger on the bottle hardly tells the two apart
LOOSE_START_K = 1.0
READING_K = 0.15  # noise and resolution of a usual logger


class CannotFit(ValueError):
    """The run does not determine the box; says why and what to do."""


@dataclass(frozen=True)
class Fitted:
    """A fitted box: conductance in W/K with its standard error, the other parameters, and how well it fits."""

    conductance_w_k: float
    standard_error_w_k: float
    bottle_w_k: float
    air_j_k: float
    residual_rms_k: float
    hours: Array
    outside_c: Array
    logged_c: Array
    modelled_c: Array
    doubts: tuple[str, ...]

    @property
    def sd_ln(self) -> float:
        """Return the spread of the conductance on the log scale."""
        return self.standard_error_w_k / self.conductance_w_k

    @property
    def is_good(self) -> bool:
        return not self.doubts


def water_j_k(kg: float) -> float:
    """Return the heat that a water bottle takes up, J/K."""
    return kg * WATER_J_KGK


def ice_melt_w_k(melted_kg: float, hours: float, outside_c: float) -> float:
    """Return a box's conductance from the ice melted in it, W/K: m L / (t dT).

    Assumes the inside at 0 degC throughout. Source: ice-melt method, Burgess 1999, Packaging Technology and Science
    12:75. Check: 0.5 kg in 3.706111 h at 25 degC outside gives 0.5 W/K.
    """
    if not (melted_kg > 0 and hours > 0 and outside_c > 0):
        raise CannotFit(
            f"{melted_kg:g} kg in {hours:g} h at {outside_c:g} degC does not say how leaky the box is. "
            "All three must be above 0: melt some ice in a warm place, and weigh it."
        )
    return melted_kg * ICE_MELT_KJ_KG * 1000.0 / (hours * SECONDS_PER_HOUR * outside_c)


def fit_box(hours: ArrayLike, outside_c: ArrayLike, inside_c: ArrayLike, *, bottle_kg: float) -> Fitted:
    """Return the box that explains what a logger on a water bottle recorded.

    `hours` increasing, `outside_c` and `inside_c` degC of the same length, NaN where a logger has a gap.
    Raises CannotFit where the run is too short, too long, too steady, or leaves the parameters open.
    """
    at, outside, inside = (np.asarray(values, dtype=float) for values in (hours, outside_c, inside_c))
    from scipy.optimize import least_squares  # a third of a second that only a fit needs

    _refuse_poor(at, outside, inside, bottle_kg)
    grid = np.arange(0.0, (at[-1] - at[0]) * SECONDS_PER_HOUR + 1e-6, GRID_S) / SECONDS_PER_HOUR + at[0]
    known = np.isfinite(outside)
    weather = np.interp(grid, at[known], outside[known])
    seen = np.isfinite(inside)
    logged = np.interp(grid, at[seen], inside[seen])
    near = _to_nearest(grid, at[seen]) <= 2 * GRID_S / SECONDS_PER_HOUR

    def off(guess: Array) -> Array:
        missed = (_modelled(guess, weather, logged[0], bottle_kg) - logged)[near]
        return np.concatenate([missed / READING_K, _beforehand(guess)])

    found = least_squares(off, [np.log(GUESS_W_K), *LOOSE, 0.0], xtol=1e-10, ftol=1e-10)
    return _told(found.x, found.jac, grid, weather, logged, near, bottle_kg)


def _to_nearest(grid: Array, at: Array) -> Array:
    """Return how far each point of the grid lies from the nearest reading, h."""
    after = np.clip(np.searchsorted(at, grid), 1, len(at) - 1)
    return np.minimum(np.abs(grid - at[after - 1]), np.abs(at[after] - grid))


def _beforehand(guess: Array) -> Array:
    """Return how far film, air and start lie from what is usual, in standard deviations; the wall is left free."""
    return np.array([*((guess[1:3] - LOOSE) / LOOSE_SD_LN), guess[3] / LOOSE_START_K])


def _refuse_poor(at: Array, outside: Array, inside: Array, bottle_kg: float) -> None:
    if not 0.05 <= bottle_kg <= 10:
        raise CannotFit(f"The bottle holds {bottle_kg:g} kg, but it must be from 0.05 to 10 kg. Weigh it.")
    if not (at.shape == outside.shape == inside.shape) or np.any(np.diff(at) <= 0):
        raise CannotFit("The times must increase, with one outside and one inside reading for each.")
    seen = np.isfinite(outside) & np.isfinite(inside)
    if seen.sum() < 10:
        raise CannotFit(f"Only {seen.sum()} times have both readings. Log both at least every quarter of an hour.")
    span = at[seen][-1] - at[seen][0]
    if span < LEAST_HOURS:
        raise CannotFit(f"The run lasted {span:.1f} h, but a day outdoors is needed: at least {LEAST_HOURS:g} h.")
    if (whole := at[-1] - at[0]) > MOST_HOURS:
        raise CannotFit(
            f"The run lasted {whole:.0f} h, and at most {MOST_HOURS:g} h are looked through. Check the year and the "
            "month of each row, or leave only the days outdoors in the file."
        )
    # A swing of the weather shows the box, and so does a box carried from a warm room into the cold.
    step = abs(inside[seen][0] - np.median(outside[seen]))
    swing = max(float(np.ptp(outside[seen])), float(step))
    if swing < LEAST_SWING_K:
        raise CannotFit(
            f"Outside and start differ by only {swing:.1f} K, so that the box hardly shows. "
            f"Log a day with {LEAST_SWING_K:g} K between night and noon, or carry the box from a room into the cold."
        )


def _modelled(guess: Array, weather: Array, start_c: float, bottle_kg: float) -> Array:
    """Return the bottle's course for log conductances, log air capacity and an offset of the start, degC."""
    wall, bottle, air = np.exp(guess[:3])
    water = water_j_k(bottle_kg)
    a = np.array([[-(wall + bottle) / air, bottle / air], [bottle / water, -bottle / water]])
    phi, before, after = first_order_hold(a, np.array([[wall / air], [0.0]]), GRID_S)
    state = np.full(2, start_c + guess[3])
    course = np.empty(len(weather))
    course[0] = state[1]
    for step in range(1, len(weather)):
        state = phi @ state + before[:, 0] * weather[step - 1] + after[:, 0] * weather[step]
        course[step] = state[1]
    return course


def _told(
    best: Array, jacobian: Array, grid: Array, weather: Array, logged: Array, near: NDArray[np.bool_], bottle_kg: float
) -> Fitted:
    modelled = _modelled(best, weather, logged[0], bottle_kg)
    residual = (modelled - logged)[near]
    rms = float(np.sqrt(np.mean(residual**2)))
    # Neighbouring residuals go together, so there are fewer independent readings than rows.
    weight = _independent_share(residual) * (READING_K / max(rms, READING_K)) ** 2
    seen, usual = jacobian[: len(residual)], jacobian[len(residual) :]
    covariance = np.linalg.inv(seen.T @ seen * weight + usual.T @ usual + np.diag([1e-9, 0.0, 0.0, 0.0]))
    wall, bottle, air = (float(value) for value in np.exp(best[:3]))
    sd_ln = float(np.sqrt(covariance[0, 0]))
    doubts = _doubts(sd_ln, rms)
    return Fitted(wall, wall * sd_ln, bottle, air, rms, grid, weather, logged, modelled, doubts)


def _independent_share(residual: Array) -> float:
    """Return the share of residuals that are independent, from their lag-one correlation (AR(1))."""
    total = float(residual @ residual)
    if total == 0:
        return 1.0
    together = min(max(float(residual[1:] @ residual[:-1]) / total, 0.0), 0.99)
    return (1 - together) / (1 + together)


def _doubts(sd_ln: float, rms: float) -> tuple[str, ...]:
    doubts = []
    if sd_ln > MOST_SD_LN:
        doubts.append(f"The conductance is known to {100 * sd_ln:.0f} % only; under {100 * MOST_SD_LN:.0f} % is good.")
    if rms > MOST_RESIDUAL_K:
        doubts.append(
            f"The model misses the logger by {rms:.1f} K on average; under {MOST_RESIDUAL_K:g} K is good. "
            "Sun on the box or a moved logger does that."
        )
    return tuple(doubts)
