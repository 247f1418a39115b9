"""What surrounds the box hour by hour, for every member of a check: the forecast at both ends, its error, sun and hubs.

A missing hour stays missing (NaN) in every leg that needs it.
"""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import asin, cos, radians, sin, sqrt
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from breeder.core.transit.weather_hours import Hours
from breeder.dispatch.legs import HOUR, Case, Exposure, Where
from breeder.dispatch.surroundings import USUAL, Template
from breeder.heat import forecast_error, members, sun
from breeder.heat.members import Draws
from breeder.heat.risk import AmbientCase

Array = NDArray[np.float64]
Floats = TypeVar("Floats", bound=NDArray[np.floating])  # of either precision

# Behind a counter it is a shop, with a door that opens (judgement).
COUNTER_C, COUNTER_DOOR_SHARE = 21.0, 0.10

FILM = {
    Exposure.VAN: "indoors",
    Exposure.HUB: "indoors",
    Exposure.COUNTER: "indoors",
    Exposure.DOORSTEP: "porch",
}

SUNNY = frozenset({Exposure.VAN, Exposure.DOORSTEP})

ONE_DAY = timedelta(days=1)
EARTH_KM = 6371.0
# A day of which fewer hours than this are known does not tell how clear its sky is.
LEAST_HOURS_OF_DAY = 18


@dataclass(frozen=True)
class Ends:
    """The hours of both ends of the way, wide enough to hold the whole local days of every case."""

    origin: Hours
    destination: Hours

    @property
    def km(self) -> float:
        """Return the distance between the ends along the earth."""
        return distance_km(self.origin, self.destination)


def distance_km(one: Hours, other: Hours) -> float:
    """Return the distance of two places in km (haversine, a round earth)."""
    north = radians(other.latitude - one.latitude) / 2
    east = radians(other.longitude - one.longitude) / 2
    part = sin(north) ** 2 + cos(radians(one.latitude)) * cos(radians(other.latitude)) * sin(east) ** 2
    return 2 * EARTH_KM * asin(sqrt(min(1.0, part)))


def around(case: Case, ends: Ends, drawn: Draws) -> AmbientCase:
    """Return what surrounds the box in one delay case: (hours + 1, members) in °C, NaN where nothing is forecast."""
    times = case.times
    origin = outside_c(ends.origin, times, drawn, place=0, together=0.0)
    destination = outside_c(ends.destination, times, drawn, place=1, together=forecast_error.correlation(ends.km))
    legs = [case.leg_at(at) for at in times]
    rows = np.empty_like(origin)
    for exposure in Exposure:
        for where in Where:
            here = np.array([leg.exposure == exposure and leg.where == where for leg in legs])
            if here.any():
                outside = outside_at(where, origin, destination)
                own = ends.origin if where == Where.ORIGIN else ends.destination
                light = sunlight_w_m2(own, times) if exposure in SUNNY else None
                rows[here] = exposed(exposure, outside, light, drawn, case.template)[here]
    return AmbientCase(case.name, case.weight, rows, tuple(FILM[leg.exposure] for leg in legs[:-1]))


def outside_c(hours: Hours, times: tuple[datetime, ...], drawn: Draws, *, place: int, together: float) -> Array:
    """Return the air outside for every member, (hours, members) in °C: the forecast with the error of its lead."""
    at = _places_of(hours, times)
    zone = hours.zone
    middle = np.array(
        [np.nan if index is None or hours.c[index] is None else hours.c[index] for index in at], dtype=float
    )
    local = np.array([moment.astimezone(zone).hour for moment in times], dtype=float)
    lead, extra, share = _trust(hours, times, at)
    error = forecast_error.error_c(
        drawn,
        hour=np.minimum(np.arange(len(times)), members.HOURS - 1),
        local_hour=local,
        sd=spread_c(lead, local, extra, share, season_of(times[0], hours.latitude)),
        place=place,
        together=together,
    )
    return middle[:, None] + error


def _places_of(hours: Hours, times: tuple[datetime, ...]) -> list[int | None]:
    """Return where each time stands in the hours, None outside them."""
    first = hours.times[0]
    found = [round((at - first) / HOUR) for at in times]
    return [index if 0 <= index < len(hours.times) else None for index in found]


def _trust(hours: Hours, times: tuple[datetime, ...], at: list[int | None]) -> tuple[Array, Array, Array]:
    """Return each hour's lead in days, the spread that its kind of source adds in °C, and what was learnt of it."""
    leads, extra, share = np.zeros(len(times)), np.zeros(len(times)), np.ones(len(times))
    for row, index in enumerate(at):
        issued = hours.issued[index] if index is not None else None
        if index is not None and issued is not None:
            leads[row] = (times[row] - issued) / HOUR / 24
            extra[row] = hours.extra_sd_c[index]
            share[row] = hours.sd_share[index] if hours.sd_share else 1.0
    return leads, extra, share


def spread_c(lead_days: Array, local_hour: Array, extra_sd_c: Array, share: Array, season: str) -> Array:
    """Return the usual error of each hour, times what was learnt of it, with what its kind of source adds, °C."""
    return np.hypot(share * forecast_error.sd_c(lead_days, local_hour, season), extra_sd_c)


def season_of(at: datetime, latitude: float) -> str:
    """Return the meteorological season at a latitude."""
    return forecast_error.season_of(at.month, latitude)


def outside_at(where: Where, origin: Array, destination: Array) -> Array:
    """Return the air outside a leg, (hours, members), from that of both ends."""
    if where == Where.BETWEEN:
        return bracketed(origin.T, destination.T).T
    return origin if where == Where.ORIGIN else destination


def exposed(exposure: Exposure, outside: Array, light: Array | None, drawn: Draws, template: Template = USUAL) -> Array:
    """Return the effective temperature over all hours as if the whole way were this leg; `light` in W/m² by hour."""
    if exposure not in SUNNY:
        return kept(exposure, outside, template)
    if light is None:
        raise ValueError(f"The sun is needed for the leg {exposure}.")
    if exposure == Exposure.VAN:
        return outside + sun.van_rise_k(light[:, None], drawn.van_gain())
    least, factor = template.step_gain(members.DOORSTEP_HIGH)
    return outside + light[:, None] * (least + factor * drawn.doorstep_gain())


def kept(exposure: Exposure, outside: Floats, template: Template = USUAL) -> Floats:
    """Return the air of a hub or behind a counter, which is kept near one temperature; any shape, °C."""
    if exposure == Exposure.HUB:
        return (1 - template.outside_share) * template.hub_c + template.outside_share * outside
    return (1 - COUNTER_DOOR_SHARE) * COUNTER_C + COUNTER_DOOR_SHARE * outside


def bracketed(origin: Floats, destination: Floats) -> Floats:
    """Return the air of hubs without a name, (members, hours).

    Every other member has the colder end of the way, the rest the warmer.
    """
    found = np.empty_like(origin)
    np.minimum(origin[::2], destination[::2], out=found[::2])
    np.maximum(origin[1::2], destination[1::2], out=found[1::2])
    return found


def sunlight_w_m2(hours: Hours, times: tuple[datetime, ...]) -> Array:
    """Return the sun on level ground at each hour, W/m²: above the air, times what the day's range lets through.

    NaN by day where too little of the day is known to tell; 0 at night in any case.
    """
    zone = hours.zone
    days, hour = (np.array(column) for column in zip(*((at.timetuple().tm_yday, at.hour) for at in times), strict=True))
    above = sun.above_air_w_m2(days, hour, hours.latitude, hours.longitude)
    through = clearness_by_day(hours, {at.astimezone(zone).date() for at in times})
    clear = np.array([through[at.astimezone(zone).date()] for at in times])
    return np.where(above > 0, above * clear, 0.0)


def clearness_by_day(hours: Hours, days: set[date]) -> dict[date, float]:
    """Return the share of sun that comes through on each local day, by its low and high; NaN where it can't be told.

    A day of which some hours are missing borrows the hours next to it, within a day on either side.
    """
    zone = hours.zone
    local = [at.astimezone(zone) for at in hours.times]
    found = {}
    for day in days:
        own = [hours.c[index] for index, at in enumerate(local) if at.date() == day]
        known = [value for value in own if value is not None]
        if len(known) < len(own) or len(own) < LEAST_HOURS_OF_DAY:
            near = [
                value for at, value in zip(local, hours.c, strict=True)
                if value is not None and abs((at.date() - day).days) <= 1
            ]  # fmt: skip
            known = near if len(near) >= LEAST_HOURS_OF_DAY else []
        found[day] = float(sun.clearness(min(known), max(known))) if known else float("nan")
    return found
