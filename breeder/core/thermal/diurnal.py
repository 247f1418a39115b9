"""Turn daily lows and highs into hours, for forecasts that give only those."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Parton & Logan 1981, Agric. Meteorol. 23:205, Denver at 1.5 m: lag of the high, night decay, lag of the low.
HIGH_LAG_H, NIGHT_DECAY, LOW_LAG_H = 1.86, 2.20, -0.17
SHAPE_ERROR_C = 1.7  # rms against real hours of three airports, 2013


def parton_logan(low_c: Array, high_c: Array, sunrise_h: Array, sunset_h: Array) -> Array:
    """Return hourly temperatures (24 days, ...) in degC from daily lows and highs (days, ...).

    Between sunrise and sunset the curve is a sine, after sunset it decays toward the next low; the small step at
    sunrise is part of the method. `sunrise_h`, `sunset_h` (days,) in hours of the local standard day. The evening
    before the first day is taken to be like the first day's, and the low after the last day like the last day's.
    Rms error against real hours about 1.7 degC. Source: Parton & Logan 1981.
    """
    low, high = np.asarray(low_c, dtype=float), np.asarray(high_c, dtype=float)
    rise, fall = np.asarray(sunrise_h, dtype=float), np.asarray(sunset_h, dtype=float)
    hour = np.arange(24.0)
    days = []
    for day in range(len(low)):
        before, after = max(day - 1, 0), min(day + 1, len(low) - 1)
        values = [
            _night(low[day], low[before], high[before], rise[before], fall[before], rise[day], h + 24.0)
            if h < rise[day]
            else _night(low[after], low[day], high[day], rise[day], fall[day], rise[after], h)
            if h > fall[day]
            else _daylight(low[day], high[day], rise[day], fall[day], h)
            for h in hour
        ]
        days.extend(values)
    return np.array(days)


def _daylight(low: Array, high: Array, rise: float, fall: float, hour: float) -> Array:
    angle = np.pi * (hour - rise - LOW_LAG_H) / (fall - rise + 2.0 * HIGH_LAG_H)
    temperature: Array = low + (high - low) * np.sin(angle)
    return temperature


def _night(coming: Array, low: Array, high: Array, rise: float, fall: float, next_rise: float, hour: float) -> Array:
    """Return the decay from the temperature at sunset toward the next low; `hour` counts from the midnight before."""
    at_sunset = _daylight(low, high, rise, fall, fall)
    length = 24.0 - (fall - rise)
    temperature: Array = coming + (at_sunset - coming) * np.exp(-NIGHT_DECAY * (hour - fall) / length)
    return temperature
