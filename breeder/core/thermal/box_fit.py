"""Measure how much heat a box lets through, from loggers outside it and in a bottle of water inside it.

Temperatures alone give only ratios, so something of known heat capacity must be inside: the bottle, and nothing else.
This is an output-error fit: the box as drawn, with its conductance free, is simulated over the whole run and compared
with the logger readings. Heat also passes the film of air around the bottle. A second logger in the air tells wall and
film apart; without it the film is estimated from the size of the bottle.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .box import Network, network
from .box_fit_text import FLOOR_WITH_AIR_SD_LN, fit_doubts, fit_notes, vague_text
from .ensemble_draws import LEAK_MEDIAN
from .kit import Payload, ShippingBox, ThermalKit
from .materials import SECONDS_PER_HOUR
from .repeated_run import simulate_course

Array = NDArray[np.float64]

LEAST_HOURS = 20.0  # nearly the swing of a whole day
MOST_HOURS = 7 * 24.0  # more teaches nothing new, and a wrong year in one row would make it decades
LEAST_SWING_K = 10.0
LEAST_READINGS = 10
MOST_GAP_H = 3.0  # in the outside readings; the box cannot be simulated over a longer gap
MOST_SD_LN = 0.45  # above this the result reflects the assumed film or bag more than the measurement
GRID_S = 300.0
READING_K = 0.15  # noise and resolution of a usual logger

FILM_W_M2K, HALF_LITRE_M2 = 7.0, 0.05  # a bottle in still air, half of it by radiation (judgment)
FILM_SD_LN = 0.3  # films of 0.2 to 0.6 W/K at half a liter
# What no run can show: walls that differ from the drawing, air that is not mixed (simulated for this project).
FLOOR_SD_LN = 0.15
# Prior spreads: starts of bottle and box, offset of the outside logger, K; with air: ln film, ln heat, its offset.
LOOSE = np.array([2.0, 2.0, 0.15, 1.0, 0.5, 0.15])
FREE, FREE_WITH_AIR = 4, 7  # ln conductance, then the entries of LOOSE


class CannotFit(ValueError):
    """The run does not tell how leaky the box is; the message says why and what to do."""


@dataclass(frozen=True)
class BoxFit:
    """A fitted box: its conductance in W/K with the spread of the log, the bottle's film in W/K, the rms misfit in K.

    The curves are those of the bottle, degC, every five minutes. `doubts` are reasons not to use the result; `notes`
    are not.
    """

    conductance_w_k: float
    log_sd: float
    film_w_k: float
    residual_rms_k: float
    hours: Array
    outside_c: Array
    logged_c: Array
    modelled_c: Array
    doubts: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def is_good(self) -> bool:
        return not self.doubts


def bottle_film_w_k(litres: float) -> float:
    """Return the usual conductance between a bottle and the air, W/K: 7 W/m2K x 0.05 m2 x (liters / 0.5)^(2/3).

    Check: 0.5 gives 0.35. Judgment: measured half-liter bottles have 0.3 to 0.4.
    """
    return FILM_W_M2K * HALF_LITRE_M2 * math.pow(litres / 0.5, 2.0 / 3.0)


def fit_box(
    box: ShippingBox,
    hours: ArrayLike,
    outside_c: ArrayLike,
    bottle_c: ArrayLike,
    *,
    litres: float,
    air_c: ArrayLike | None = None,
) -> BoxFit:
    """Return the box that explains what loggers recorded with a bottle of water, and nothing else, in it.

    `box` is the box as drawn; its leak factor is not used. `hours` increase; `outside_c`, `bottle_c` and `air_c` (a
    logger that hangs in the air of the box) are degC and equally long, NaN where a logger has a gap. Raises CannotFit
    when the run is too short, too long or too steady, or when the result would rest on the assumed film of the bottle,
    and BadKit when the bottle is too large for the box.
    """
    at, outside, bottle = (np.asarray(values, dtype=float) for values in (hours, outside_c, bottle_c))
    air = None if air_c is None else np.asarray(air_c, dtype=float)
    _refuse_poor(at, outside, bottle, litres)
    drawn = network(
        ThermalKit(replace(box, leak_factor=1.0), Payload(litres, water_share=1.0))
    )  # a liter weighs a kilogram
    if air is None:
        _refuse_thin(drawn, bottle_film_w_k(litres))
    elif air.shape != at.shape or np.isfinite(air).sum() < LEAST_READINGS:
        raise CannotFit("The logger in the air has too few readings. Log again, or leave its column out.")
    return _fit_run(_LoggedRun(at, outside, bottle, air, drawn, bottle_film_w_k(litres)))


def _refuse_poor(at: Array, outside: Array, bottle: Array, litres: float) -> None:
    if not 0.05 <= litres <= 10:
        raise CannotFit(f"The bottle holds {litres:g} liters, but it must be from 0.05 to 10.")
    if not (at.shape == outside.shape == bottle.shape) or np.any(np.diff(at) <= 0):
        raise CannotFit("The times must increase, with one outside and one bottle reading for each.")
    seen = np.isfinite(outside) & np.isfinite(bottle)
    if seen.sum() < LEAST_READINGS:
        raise CannotFit(f"Only {seen.sum()} times have both readings. Log both at least every quarter of an hour.")
    span = at[seen][-1] - at[seen][0]
    if span < LEAST_HOURS:
        raise CannotFit(f"The run lasted {span:.1f} h, but a day outdoors is needed: at least {LEAST_HOURS:g} h.")
    if (whole := at[-1] - at[0]) > MOST_HOURS:
        raise CannotFit(
            f"The run lasted {whole:.0f} h, and at most {MOST_HOURS:g} h are looked through. Check the year and the "
            "month of each row, or leave only the days outdoors in the file."
        )
    gap = float(np.diff([at[0], *at[np.isfinite(outside)], at[-1]]).max())
    if gap > MOST_GAP_H:
        raise CannotFit(
            f"The outside logger has a gap of {gap:.1f} h, and at most {MOST_GAP_H:g} h can be bridged. Leave out the "
            "hours before or after the gap, or log another day."
        )
    # A swing of the weather shows the box, and so does a box carried from a warm room into the cold.
    step = abs(bottle[seen][0] - np.median(outside[seen]))
    swing = max(float(np.ptp(outside[seen])), float(step))
    if swing < LEAST_SWING_K:
        raise CannotFit(
            f"Outside and start differ by only {swing:.1f} K, so that the box hardly shows. "
            f"Log a day with {LEAST_SWING_K:g} K between night and noon, or carry the box from a room into the cold."
        )


def _refuse_thin(drawn: Network, film_w_k: float) -> None:
    """Refuse a run with one logger when the walls resist heat less than the film around the bottle does."""
    if math.hypot(FLOOR_SD_LN, _film_sd_ln(drawn, film_w_k)) > MOST_SD_LN:
        raise CannotFit(
            f"The walls let about {LEAK_MEDIAN * drawn.outside_w_k:.2f} W through for every degree, the air around "
            f"the bottle about {film_w_k:.2f}, so one logger sees more of the bottle than of the box. Hang a second "
            "logger in the air of the box."
        )


def _film_sd_ln(drawn: Network, film_w_k: float) -> float:
    """Return the spread of ln conductance due to the unknown film, for a usual box with these walls."""
    return FILM_SD_LN * LEAK_MEDIAN * drawn.outside_w_k / film_w_k


@dataclass(frozen=True)
class _LoggedRun:
    """The logger readings, arrays (M,), with the box as drawn and the usual film of the bottle in W/K."""

    at: Array
    outside_c: Array
    bottle_c: Array
    air_c: Array | None
    drawn: Network
    film_w_k: float

    def grid_h(self) -> Array:
        """Return hours every five minutes; the last is at the end of the run or just after it."""
        pieces = math.ceil((self.at[-1] - self.at[0]) * SECONDS_PER_HOUR / GRID_S - 1e-9)
        grid: Array = self.at[0] + np.arange(pieces + 1) * GRID_S / SECONDS_PER_HOUR
        return grid

    def on_grid(self, values: Array) -> Array:
        """Return the readings of a logger at the hours of the grid, with its gaps bridged."""
        known = np.isfinite(values)
        return np.interp(self.grid_h(), self.at[known], values[known])

    def network(self, guess: Array) -> Network:
        """Return the box for a guess: ln conductance, then the entries of LOOSE."""
        walls, film, heat = np.exp(guess[[0, 4, 5]])
        return Network(
            self.film_w_k * film,
            self.drawn.air_j_k * heat,
            self.drawn.payload_j_k,
            tuple(g * walls for g in self.drawn.wall_w_k),
            tuple(each * heat for each in self.drawn.wall_j_k),
        )


def _residuals(run: _LoggedRun) -> Callable[[Array], list[Array]]:
    """Return a function from a guess to the residuals of bottle and air at each of their readings, K."""
    grid, weather, start_c = run.grid_h(), run.on_grid(run.outside_c), run.on_grid(run.bottle_c)[0]
    series = [(1, run.bottle_c)] if run.air_c is None else [(1, run.bottle_c), (0, run.air_c)]
    logged = [(node, run.at[np.isfinite(each)], each[np.isfinite(each)]) for node, each in series]

    def residuals(guess: Array) -> list[Array]:
        starts = {"payload_c": start_c + guess[1], "box_c": start_c + guess[2]}
        air, bottle = simulate_course(run.network(guess), weather + guess[3], GRID_S, **starts)
        models = (air + guess[6], bottle)
        return [np.interp(at, grid, models[node]) - values for node, at, values in logged]

    return residuals


@dataclass(frozen=True)
class _Best:
    """The best guess for a run: its parameters, its residuals in K, and the spread of ln conductance."""

    guess: Array
    residuals: list[Array]
    sd_ln: float


def _best_guess(run: _LoggedRun) -> _Best:
    """Return the guess with the smallest residuals; film and heat are free only when the air was logged."""
    from scipy.optimize import least_squares  # a third of a second that only a fit needs

    residuals, free = _residuals(run), FREE if run.air_c is None else FREE_WITH_AIR

    def padded(guess: Array) -> Array:
        return np.pad(guess, (0, FREE_WITH_AIR - len(guess)))

    def off(guess: Array) -> Array:
        known = guess[1:] / LOOSE[: free - 1]
        return np.concatenate([*(each / READING_K for each in residuals(padded(guess))), known])

    best = least_squares(off, np.zeros(free), xtol=1e-6, ftol=1e-7, max_nfev=50)
    best_residuals, slopes = residuals(padded(best.x)), np.asarray(best.jac)[: -(free - 1)]
    weight = np.concatenate([np.full(len(each), _weight(each)) for each in best_residuals])[:, None]
    information = (slopes * weight).T @ slopes + np.diag([1e-9, *LOOSE[: free - 1] ** -2.0])
    return _Best(padded(best.x), best_residuals, float(np.sqrt(np.linalg.inv(information)[0, 0])))


def _weight(residuals: Array) -> float:
    """Return the weight of a reading: neighbors are correlated (AR(1)), and a poor fit counts for less."""
    total = float(residuals @ residuals)
    if total == 0.0:
        return 1.0
    together = min(max(float(residuals[1:] @ residuals[:-1]) / total, 0.0), 0.99)
    rms = math.sqrt(total / len(residuals))
    return (1.0 - together) / (1.0 + together) * (READING_K / max(rms, READING_K)) ** 2


def _fit_run(run: _LoggedRun) -> BoxFit:
    best = _best_guess(run)
    log_sd, rms = _log_sd(run, best), float(np.sqrt(np.mean(np.concatenate(best.residuals) ** 2)))
    doubts, has_air = fit_doubts(rms, math.exp(best.guess[5])), run.air_c is not None
    if log_sd > MOST_SD_LN:
        raise CannotFit(" ".join(doubts) or vague_text(log_sd, has_air=has_air))
    net, weather = run.network(best.guess), run.on_grid(run.outside_c) + best.guess[3]
    logged = run.on_grid(run.bottle_c)
    bottle, box = logged[0] + best.guess[1:3]
    modelled = simulate_course(net, weather, GRID_S, box_c=box, payload_c=bottle)[1]
    return BoxFit(
        net.outside_w_k, log_sd, net.payload_w_k, rms, run.grid_h(), weather, logged, modelled,
        doubts, fit_notes(log_sd, math.exp(best.guess[0]), has_air=has_air),
    )  # fmt: skip


def _log_sd(run: _LoggedRun, best: _Best) -> float:
    """Return the spread of ln conductance: from the readings, from the film, and from what no run can show.

    A film that resists more than assumed looks like a tighter box, and the fit then seems surer than it is. So the film
    counts for at least as much as in a usual box with these walls.
    """
    if run.air_c is not None:
        return math.hypot(best.sd_ln, FLOOR_WITH_AIR_SD_LN)
    slow, quick = (replace(run, film_w_k=run.film_w_k * math.exp(way * FILM_SD_LN)) for way in (-1.0, 1.0))
    by_film = (_best_guess(slow).guess[0] - _best_guess(quick).guess[0]) / 2.0
    return math.hypot(best.sd_ln, max(by_film, _film_sd_ln(run.drawn, run.film_w_k)), FLOOR_SD_LN)
