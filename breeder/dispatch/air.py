"""The air around many boxes: each place's hours turned to arrays once, each way's members made once for every kit.

The board's way to what `ambient.around` gives for a single box; both use the same error, sun and exposures.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from breeder.dispatch import ambient
from breeder.dispatch.ambient import FILM, SUNNY, Ends, distance_km
from breeder.dispatch.legs import HOUR, Case, Exposure, Where
from breeder.dispatch.trying import Journey, journey_cases
from breeder.heat import forecast_error, members
from breeder.heat.members import Draws
from breeder.weather.queries import Hours

Array = NDArray[np.float64]
Single = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Air:
    """One place's hours as arrays over `hours.times`: NaN where nothing is forecast; light in W/m²."""

    hours: Hours
    middle_c: Array
    lead_days: Array
    extra_sd_c: Array
    sd_share: Array
    local_hour: Array
    light: Array

    def window(self, name: str, start: int, number: int) -> Array:
        """Return `number` values from place `start` on; NaN beyond the hours."""
        whole: Array = getattr(self, name)
        found = np.full(number, np.nan)
        first, last = max(start, 0), min(start + number, len(whole))
        if first < last:
            found[first - start : last - start] = whole[first:last]
        return found

    def place_of(self, at: datetime) -> int:
        """Return where a whole hour stands."""
        return round((at - self.hours.times[0]) / HOUR)


def air_of(hours: Hours) -> Air:
    """Return a place's hours as arrays."""
    leads = [
        0.0 if issued is None else (at - issued) / HOUR / 24
        for at, issued in zip(hours.times, hours.issued, strict=True)
    ]
    zone = hours.zone
    return Air(
        hours,
        np.array([np.nan if value is None else value for value in hours.c], dtype=float),
        np.array(leads),
        np.array(hours.extra_sd_c, dtype=float),
        np.array(hours.sd_share or (1.0,) * len(hours.times), dtype=float),
        np.array([at.astimezone(zone).hour for at in hours.times], dtype=float),
        ambient.sunlight_w_m2(hours, hours.times),
    )


@dataclass(frozen=True)
class Stretch:
    """Rows of a case that are one leg."""

    rows: slice
    exposure: Exposure
    where: Where


@dataclass(frozen=True)
class Shape:
    """The delay cases of a journey on the clocks of its ends, with each one's legs as rows and films by hour."""

    cases: tuple[Case, ...]
    stretches: tuple[tuple[Stretch, ...], ...]
    films: tuple[tuple[str, ...], ...]
    hours: int


@lru_cache(maxsize=2048)
def _shape(journey: Journey, origin: str, destination: str) -> Shape:
    nowhere = [_nowhere(zone) for zone in (origin, destination)]
    cases = journey_cases(journey, Ends(*nowhere))
    legs = [[case.leg_at(at) for at in case.times] for case in cases]
    stretches = []
    for row in legs:
        starts = [index for index, leg in enumerate(row) if index == 0 or leg is not row[index - 1]]
        ends = [*starts[1:], len(row)]
        stretches.append(
            tuple(
                Stretch(slice(first, last), row[first].exposure, row[first].where)
                for first, last in zip(starts, ends, strict=True)
            )
        )
    films = tuple(tuple(FILM[leg.exposure] for leg in row[:-1]) for row in legs)
    return Shape(cases, tuple(stretches), films, max(case.hours for case in cases))


def _nowhere(zone: str) -> Hours:
    return Hours("", 0.0, 0.0, zone, (), (), (), (), (), (), ())


def shape_of(journey: Journey, origin: Hours, destination: Hours) -> Shape:
    """Return the cases of a journey with their legs as rows; the same journey on the same clocks is shaped once."""
    return _shape(journey, origin.timezone, destination.timezone)


def members_of(shape: Shape, origin: Air, destination: Air, drawn: Draws) -> list[Single]:
    """Return what surrounds the box in each case, (members, hours + 1) in °C; NaN where nothing is forecast.

    All cases begin at the same hour, so the air at both ends is made once, for the longest.
    """
    start, number = shape.cases[0].times[0], shape.hours + 1
    km = distance_km(origin.hours, destination.hours)
    first = _outside(origin, start, number, drawn, place=0, together=0.0)
    last = _outside(destination, start, number, drawn, place=1, together=forecast_error.correlation(km))
    lights = {
        place: air.window("light", air.place_of(start), number)
        for place, air in ((Where.ORIGIN, origin), (Where.DESTINATION, destination))
    }
    found = []
    for case, stretches in zip(shape.cases, shape.stretches, strict=True):
        rows = np.empty((case.hours + 1, drawn.members), np.float32)
        for leg in stretches:
            outside = ambient.outside_at(leg.where, first[leg.rows], last[leg.rows])
            light = lights[leg.where][leg.rows] if leg.exposure in SUNNY else None
            rows[leg.rows] = ambient.exposed(leg.exposure, outside, light, drawn)
        found.append(rows.T)
    return found


def _outside(air: Air, start: datetime, number: int, drawn: Draws, *, place: int, together: float) -> Array:
    at = air.place_of(start)
    season = ambient.season_of(start, air.hours.latitude)
    lead, extra, local = (
        np.nan_to_num(air.window(name, at, number)) for name in ("lead_days", "extra_sd_c", "local_hour")
    )
    share = np.nan_to_num(air.window("sd_share", at, number), nan=1.0)
    error = forecast_error.error_c(
        drawn,
        hour=np.minimum(np.arange(number), members.HOURS - 1),
        local_hour=local,
        sd=ambient.spread_c(lead, local, extra, share, season),
        place=place,
        together=together,
    )
    return air.window("middle_c", at, number)[:, None] + error


def known_rows(shape: Shape, found: Sequence[Single]) -> list[int]:
    """Return for each case how many of its hours, from the first on, are known in every member."""
    known = []
    for rows in found:
        gaps = np.isnan(rows).any(axis=0)
        known.append(int(gaps.argmax()) if gaps.any() else rows.shape[1])
    return known
