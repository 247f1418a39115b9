"""Compute the height of the sun, its strength, and how much it warms a van or a box on a doorstep."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

SOLAR_CONSTANT_W_M2 = 1367.0  # FAO-56 (0.0820 MJ/m2 min)
RISING_ZENITH_DEG = 90.833  # refraction and the sun's radius
HARGREAVES = 0.17  # per square root of the day's range in K (0.16 inland, 0.19 at coasts)
CLEAREST = 0.75  # largest share of the radiation above the air
KRAFT_ABSORBS = 0.65  # brown cardboard (memory); white about 0.3
VAN_LAG_H = 1.0


def _day_angle(day_of_year: ArrayLike) -> Array:
    return 2.0 * np.pi * (np.asarray(day_of_year, dtype=float) - 1.0) / 365.0


def declination_rad(day_of_year: ArrayLike) -> Array:
    """Return the declination of the sun, radians. Source: Spencer 1971, Search 2:172."""
    b = _day_angle(day_of_year)
    return (
        0.006918
        - 0.399912 * np.cos(b)
        + 0.070257 * np.sin(b)
        - 0.006758 * np.cos(2 * b)
        + 0.000907 * np.sin(2 * b)
        - 0.002697 * np.cos(3 * b)
        + 0.00148 * np.sin(3 * b)
    )


def equation_of_time_h(day_of_year: ArrayLike) -> Array:
    """Return sun time minus mean time, hours. Source: Spencer 1971."""
    b = _day_angle(day_of_year)
    minutes = 229.18 * (
        0.000075 + 0.001868 * np.cos(b) - 0.032077 * np.sin(b) - 0.014615 * np.cos(2 * b) - 0.040849 * np.sin(2 * b)
    )
    return minutes / 60.0


def distance_factor(day_of_year: ArrayLike) -> Array:
    """Return (mean distance / distance) squared of the sun. Source: Spencer 1971."""
    b = _day_angle(day_of_year)
    return 1.00011 + 0.034221 * np.cos(b) + 0.00128 * np.sin(b) + 0.000719 * np.cos(2 * b) + 0.000077 * np.sin(2 * b)


def sunrise_sunset_h(day_of_year: int, lat: float, lon: float, utc_offset_h: float) -> tuple[float, float]:
    """Return sunrise and sunset, hours of the local standard day (`utc_offset_h`, without daylight saving time).

    In polar night both are noon; in polar day they are noon minus and plus 12 h.
    Check: 40.7, -74, -5: day 172 4.410 and 19.505; day 355 7.274 and 16.528.
    """
    midday = day_of_year + 0.5  # declination and equation of time are those of the middle of the day
    decl, phi = float(declination_rad(midday)), math.radians(lat)
    denominator = math.cos(phi) * math.cos(decl)
    cosine = (math.cos(math.radians(RISING_ZENITH_DEG)) - math.sin(phi) * math.sin(decl)) / max(denominator, 1e-12)
    half = math.degrees(math.acos(min(1.0, max(-1.0, cosine)))) / 15.0
    noon = 12.0 - float(equation_of_time_h(midday)) - (lon - 15.0 * utc_offset_h) / 15.0
    return noon - half, noon + half


def sine_of_elevation(day_of_year: ArrayLike, utc_hour: ArrayLike, lat: float, lon: float) -> Array:
    """Return the sine of the sun's height, 0 below the horizon; day and hour in UTC are broadcast together."""
    decl, phi = declination_rad(day_of_year), math.radians(lat)
    angle = np.radians(15.0 * (np.asarray(utc_hour, dtype=float) + lon / 15.0 + equation_of_time_h(day_of_year) - 12.0))
    sine = math.sin(phi) * np.sin(decl) + math.cos(phi) * np.cos(decl) * np.cos(angle)
    return np.maximum(sine, 0.0)


def above_air_w_m2(day_of_year: ArrayLike, utc_hour: ArrayLike, lat: float, lon: float) -> Array:
    """Return the radiation on a level surface above the atmosphere, W/m2, at an hour of UTC."""
    return SOLAR_CONSTANT_W_M2 * distance_factor(day_of_year) * sine_of_elevation(day_of_year, utc_hour, lat, lon)


def above_air_mj_m2_day(day_of_year: int, lat: float) -> float:
    """Return the radiation above the atmosphere over a day, MJ/m2. Source: FAO-56 (Allen et al. 1998), eq. 21.

    Check: 3 September, 20 degrees south 32.2 (FAO-56, example 8, whose declination is simpler: within 2 %).
    """
    decl, phi = float(declination_rad(day_of_year)), math.radians(lat)
    half = math.acos(min(1.0, max(-1.0, -math.tan(phi) * math.tan(decl))))
    daily = half * math.sin(phi) * math.sin(decl) + math.cos(phi) * math.cos(decl) * math.sin(half)
    return 86400.0 / math.pi * SOLAR_CONSTANT_W_M2 * float(distance_factor(day_of_year)) * daily / 1e6


def clearness(low_c: ArrayLike, high_c: ArrayLike) -> Array:
    """Return the share of the radiation that reaches the ground, from the day's low and high in degC.

    0.17 sqrt(range), at most 0.75. Source: Hargreaves & Samani 1982; FAO-56 eq. 50.
    """
    day_range = np.maximum(np.asarray(high_c, dtype=float) - np.asarray(low_c, dtype=float), 0.0)
    share: Array = np.minimum(HARGREAVES * np.sqrt(day_range), CLEAREST)
    return share


def late_by(by_hour: Array, lag_h: float) -> Array:
    """Return a series (H, ...) delayed by whole hours; the first hours repeat the first value."""
    lag = int(round(lag_h))
    return np.concatenate([by_hour[:1].repeat(lag, axis=0), by_hour[: len(by_hour) - lag]]) if lag else by_hour


def doorstep_rise_k(
    top_w_m2: ArrayLike,
    side_w_m2: ArrayLike,
    outer_m: tuple[float, float, float],
    film_w_m2k: float,
    absorbs: float = KRAFT_ABSORBS,
) -> Array:
    """Return how much the sun warms a box (sol-air rise), K: absorbed sun / (surface x film).

    The top and one of the larger sides are lit. Check: 0.29 x 0.24 x 0.19 m, 800 and 400 W/m2, film 17: 8.7.
    """
    length, width, height = outer_m
    total = 2.0 * (length * width + length * height + width * height)
    lit = np.asarray(top_w_m2) * (length * width) + np.asarray(side_w_m2) * (max(length, width) * height)
    return absorbs * lit / (total * film_w_m2k)
