"""Compute the air around a box and its temperatures again in plain steps: hour by hour, in double precision, by scipy.

This is slow and shares only tables with the site: legs, draws, error and sun by hour, and the network of a box.
"""

import numpy as np
from scipy.integrate import solve_ivp

from breeder.core.thermal import box, forecast_error, packs, sun
from breeder.core.thermal.ensemble_draws import DOORSTEP_HIGH, Draws
from breeder.core.thermal.kit import ThermalKit
from breeder.core.transit.itinerary import HOUR, DelayCase, Exposure, Where
from breeder.core.transit.place_air import Ends, distance_km, sunlight_w_m2
from breeder.core.transit.weather_hours import Hours

READ_EVERY_S = 300.0


def outside_c(hours: Hours, case: DelayCase, drawn: Draws, *, place: int, together: float) -> np.ndarray:
    """Return the air at one end, (hours + 1, members): the forecast plus the error for its lead."""
    known = dict(zip(hours.times, range(len(hours.times)), strict=True))
    at = [known[hour] for hour in case.times]
    local = np.array([hour.astimezone(hours.zone).hour for hour in case.times], dtype=float)
    issued = [hours.issued[index] for index in at]
    lead = np.array([0.0 if i is None else (t - i) / HOUR / 24 for t, i in zip(case.times, issued, strict=True)])
    season = forecast_error.season_name(case.times[0].month, hours.latitude)
    sd = np.hypot(forecast_error.sd_c(lead, local, season), [hours.extra_sd_c[index] for index in at])
    error = forecast_error.error_c(
        drawn, hour=np.arange(len(at)), local_hour=local, sd=sd, place=place, together=together
    )
    middle = [np.nan if hours.c[index] is None else hours.c[index] for index in at]
    return np.array(middle, dtype=float)[:, None] + error


def around(case: DelayCase, ends: Ends, drawn: Draws) -> np.ndarray:
    """Return the air around the box, (hours + 1, members) in degC, NaN where there is no forecast."""
    near = forecast_error.correlation(distance_km(ends.origin, ends.destination))
    origin = outside_c(ends.origin, case, drawn, place=0, together=0.0)
    destination = outside_c(ends.destination, case, drawn, place=1, together=near)
    light = {
        Where.ORIGIN: sunlight_w_m2(ends.origin, case.times),
        Where.DESTINATION: sunlight_w_m2(ends.destination, case.times),
    }
    template, rows = case.template, np.empty_like(origin)
    for hour, at in enumerate(case.times):
        leg = case.leg_at(at)
        pair = np.array([origin[hour], destination[hour]])
        outside = pair[0] if leg.where == Where.ORIGIN else pair[1]
        if leg.where == Where.BETWEEN:  # every second member has the colder end
            outside = np.where(np.arange(pair.shape[1]) % 2 == 0, pair.min(axis=0), pair.max(axis=0))
        if leg.exposure == Exposure.HUB:
            rows[hour] = (1 - template.outside_share) * template.hub_c + template.outside_share * outside
        elif leg.exposure == Exposure.COUNTER:
            rows[hour] = 0.9 * 21.0 + 0.1 * outside
        elif leg.exposure == Exposure.VAN:
            late = max(0, hour - round(sun.VAN_LAG_H))
            rows[hour] = outside + light[leg.where][late] * drawn.van_gain()
        else:
            low, high = template.step_sun
            rows[hour] = outside + light[leg.where][hour] * (low * DOORSTEP_HIGH + (high - low) * drawn.doorstep_gain())
    return rows


def inside_c(
    kit: ThermalKit, weather: np.ndarray, films: tuple[str, ...], *, start_c: float, leak: float, energy: float
) -> np.ndarray:
    """Return the payload of one member every five minutes, solved hour by hour with an adaptive solver."""
    state, read = np.full(len(box.network(kit).matrices()[0]), start_c), [start_c]
    for hour, film in enumerate(films):
        a, b = box.network(kit, box.FILMS[film]).leaking(leak).matrices()

        def slope(second: float, x: np.ndarray, a=a, b=b, hour=hour) -> np.ndarray:  # type: ignore[no-untyped-def]
            share = second / 3600.0
            outside = weather[hour] * (1 - share) + weather[hour + 1] * share
            watts = float(packs.kit_power_w(kit, np.array([hour + share]), energy)[0]) if kit.heat_packs else 0.0
            return a @ x + b @ np.array([outside, watts])[: b.shape[1]]

        at = np.arange(READ_EVERY_S, 3600.1, READ_EVERY_S)
        solution = solve_ivp(slope, (0, 3600), state, method="LSODA", rtol=1e-8, atol=1e-8, t_eval=at)
        state = solution.y[:, -1]
        read += solution.y[1].tolist()
    return np.array(read)
