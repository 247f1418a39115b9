"""Thermal death time: how much heat injury a course of temperature adds up to, with the keeper's own parameters.

No isopod has a published curve; the mathematics is general, the parameters are not. Never a prediction of deaths.
Source: Jorgensen et al. 2019, Functional Ecology 33:629; 2021, Scientific Reports 11:12840; Orsted et al. 2022,
Journal of Experimental Biology 225:jeb244514.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

LABEL = "no published curve for isopods; parameters are the keeper's"
MINUTES_PER_HOUR = 60.0
USUAL_Z_K = 2.5  # the authors' first guess; 1 to 5 K is usual for invertebrates
LEVEL_K = 1e-9  # a stretch that changes by less is level


@dataclass(frozen=True)
class Line:
    """log10(minutes until half have failed) = alpha + beta T, and the temperature below which nothing is injured."""

    alpha: float
    beta: float
    critical_c: float

    def __post_init__(self) -> None:
        if not (np.isfinite(self.alpha) and np.isfinite(self.beta) and self.beta < 0):
            raise ValueError(f"The slope is {self.beta:g} a kelvin, but warmer must mean sooner: give one below 0.")

    @property
    def z_k(self) -> float:
        """Return how many kelvin change the time ten times."""
        return -1.0 / self.beta

    def minutes(self, celsius: ArrayLike) -> Array:
        """Return the minutes at a constant temperature until half have failed, any shape."""
        return 10.0 ** (self.alpha + self.beta * np.asarray(celsius, dtype=float))

    def celsius(self, minutes: ArrayLike) -> Array:
        """Return the constant temperature that takes so many minutes, degC, any shape."""
        return (np.log10(np.asarray(minutes, dtype=float)) - self.alpha) / self.beta


def line_from(one_hour_c: float, z_k: float, critical_c: float) -> Line:
    """Return the line through 60 minutes at `one_hour_c` degC with `z_k` kelvin for a tenth of the time."""
    if not z_k > 0:
        raise ValueError(f"z is {z_k:g} K, but it must be above 0; 1 to 5 K is usual.")
    return Line(np.log10(MINUTES_PER_HOUR) + one_hour_c / z_k, -1.0 / z_k, critical_c)


def fit_static(celsius: ArrayLike, minutes: ArrayLike, critical_c: float) -> Line:
    """Return the line fitted to times at constant temperatures (same length, at least 2 different temperatures)."""
    temperatures, times = np.asarray(celsius, float), np.asarray(minutes, float)
    if len(np.unique(temperatures)) < 2 or len(temperatures) != len(times) or np.any(times <= 0):
        raise ValueError("Give one time above 0 for each of at least two different temperatures.")
    beta, alpha = np.polyfit(temperatures, np.log10(times), 1)
    return Line(float(alpha), float(beta), critical_c)


def ramp_end_c(line: Line, rate_c_min: ArrayLike, start_c: float) -> Array:
    """Return the temperature at which a ramp of `rate_c_min` from `start_c` ends (dynamic CTmax), degC (eq. 7a)."""
    k = np.log(10.0) / line.z_k
    rate = np.asarray(rate_c_min, dtype=float)
    static_c = float(line.celsius(MINUTES_PER_HOUR))
    grown = k * rate * MINUTES_PER_HOUR * np.exp(k * (static_c - start_c))
    return start_c + np.log(grown + np.exp(k * (line.critical_c - start_c))) / k


def ramp_to_static_c(
    end_c: ArrayLike, rate_c_min: ArrayLike, *, z_k: float, start_c: float, critical_c: float
) -> Array:
    """Return the one-hour temperature that belongs to a ramp's end, degC (eq. 7b)."""
    k = np.log(10.0) / z_k
    gained = np.exp(k * (np.asarray(end_c, float) - start_c)) - np.exp(k * (critical_c - start_c))
    return start_c + np.log(gained / (k * np.asarray(rate_c_min, float) * MINUTES_PER_HOUR)) / k


def fit_ramps(rates_c_min: ArrayLike, ends_c: ArrayLike, *, start_c: float, critical_c: float) -> Line:
    """Return the line whose ramps end nearest to those measured (least squares; at least 2 different rates)."""
    from scipy.optimize import least_squares  # a third of a second that only a fit needs

    rates, ends = np.asarray(rates_c_min, float), np.asarray(ends_c, float)
    if len(np.unique(rates)) < 2 or len(rates) != len(ends):
        raise ValueError("Give one end temperature for each of at least two different rates.")

    def off(guess: Array) -> Array:
        line = line_from(float(guess[0]), float(np.exp(guess[1])), critical_c)
        return ramp_end_c(line, rates, start_c) - ends

    found = least_squares(off, [float(ends.mean()) - 1.0, np.log(USUAL_Z_K)], xtol=1e-12, ftol=1e-12)
    return line_from(float(found.x[0]), float(np.exp(found.x[1])), critical_c)


def injury_percent(line: Line, minutes: ArrayLike, celsius: ArrayLike) -> float:
    """Return the injury of temperatures that run straight between their points, percent; 100: half have failed.

    The exact integral of 100/minutes(T) over each stretch; what lies below the critical temperature does not count.
    Repair in cool spells is left out, so that long warm journeys are judged too hard rather than too mild.
    `minutes`, `celsius`: same length, minutes increasing.
    """
    at, course = np.asarray(minutes, float), np.asarray(celsius, float)
    if at.shape != course.shape or at.ndim != 1 or np.any(np.diff(at) <= 0):
        raise ValueError("Give one temperature for each of increasing minutes.")
    at, course = _with_crossings(at, course, line.critical_c)
    span, first, last = np.diff(at), course[:-1], course[1:]
    counts = (first + last) / 2 >= line.critical_c
    rate_first, rate_last = 100.0 / line.minutes(first), 100.0 / line.minutes(last)
    change = last - first
    level = np.abs(change) < LEVEL_K
    slope = np.where(level, 1.0, change) * np.log(10.0) / line.z_k
    area = np.where(level, rate_first * span, span * (rate_last - rate_first) / slope)
    return float(area[counts].sum())


def _with_crossings(at: Array, course: Array, limit_c: float) -> tuple[Array, Array]:
    """Return the same course with a point wherever it crosses the limit."""
    above = course > limit_c
    where = np.flatnonzero(above[:-1] != above[1:])
    share = (limit_c - course[where]) / (course[where + 1] - course[where])
    crossing = at[where] + share * (at[where + 1] - at[where])
    order = np.argsort(np.concatenate([at, crossing]), kind="stable")
    return (
        np.concatenate([at, crossing])[order],
        np.concatenate([course, np.full(len(where), limit_c)])[order],
    )
