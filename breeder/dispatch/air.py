"""The air around many boxes: each place's hours turned to arrays once, each way's members made once for every kit.

The board's way to what `ambient.around` gives for a single box; both use the same error, sun and exposures.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from datetime import datetime
from functools import cached_property, lru_cache
from hashlib import blake2b
from typing import Any

import numpy as np
from numpy.typing import NDArray

from breeder.core.transit.weather_hours import Hours
from breeder.dispatch import ambient
from breeder.dispatch.ambient import FILM, SUNNY, Ends, distance_km
from breeder.dispatch.legs import HOUR, Case, Exposure, Where
from breeder.dispatch.surroundings import Template
from breeder.dispatch.trying import Journey, journey_cases
from breeder.heat import forecast_error, members, sun
from breeder.heat.members import Draws

Array = NDArray[np.float64]
Single = NDArray[np.float32]
PER_HOUR = [field for field in fields(Hours) if field.type not in (str, float)]  # and the names of sources


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

    @cached_property
    def digest(self) -> bytes:
        """Return a digest of all that anything reckoned of this air rests on."""
        found = blake2b(repr((self.hours.latitude, self.hours.longitude, self.hours.timezone)).encode(), digest_size=16)
        found.update(self.hours.times[0].isoformat().encode())
        for field in fields(self):
            if isinstance(values := getattr(self, field.name), np.ndarray):
                found.update(values.tobytes())
        return found.digest()

    def __getstate__(self) -> dict[str, Any]:
        """Return what another process needs to reckon: of the hours only where they are and when they begin."""
        one = {field.name: getattr(self.hours, field.name)[:1] for field in PER_HOUR}
        return {field.name: getattr(self, field.name) for field in fields(self)} | {"hours": replace(self.hours, **one)}

    def sd_c(self, season: str) -> Array:
        """Return the usual error of each hour in a season, °C."""
        if season not in self._sd_c:
            self._sd_c[season] = ambient.spread_c(
                self.lead_days, self.local_hour, self.extra_sd_c, self.sd_share, season
            )
        return self._sd_c[season]

    @cached_property
    def _sd_c(self) -> dict[str, Array]:
        return {}

    def place_of(self, at: datetime) -> int:
        """Return where a whole hour stands."""
        return round((at - self.hours.times[0]) / HOUR)


def window(values: Array, start: int, number: int, beyond: float = np.nan) -> Array:
    """Return `number` values from place `start` on, `beyond` where there are none."""
    found = np.full(number, beyond)
    first, last = max(start, 0), min(start + number, len(values))
    if first < last:
        found[first - start : last - start] = values[first:last]
    return found


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
    starts_at: datetime


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
    return Shape(cases, tuple(stretches), films, max(case.hours for case in cases), cases[0].starts_at)


def _nowhere(zone: str) -> Hours:
    return Hours("", 0.0, 0.0, zone, (), (), (), (), (), (), ())


def shape_of(journey: Journey, origin: Hours, destination: Hours) -> Shape:
    """Return the cases of a journey with their legs as rows; the same journey on the same clocks is shaped once."""
    return _shape(journey, origin.timezone, destination.timezone)


def air_at_ends(shape: Shape, origin: Air, destination: Air) -> tuple[float, float]:
    """Return the lowest and highest air at either end while the box stands in it on time, as `trying.air_at_ends`."""
    number = shape.stretches[0][-1].rows.stop
    at_end = {Where.ORIGIN: origin, Where.DESTINATION: destination}
    middles = {where: window(air.middle_c, air.place_of(shape.starts_at), number) for where, air in at_end.items()}
    stood = np.concatenate([middles[leg.where][leg.rows] for leg in shape.stretches[0] if leg.where in middles])
    known = stood[~np.isnan(stood)]
    return (float(known.min()), float(known.max())) if len(known) else (np.nan, np.nan)


def _legs_in_common(one: Sequence[Stretch], other: Sequence[Stretch]) -> int:
    """Return how many legs two cases share from the first on; all cases of a journey have one template."""
    pairs = enumerate(zip(one, other, strict=False))
    return next((place for place, (a, b) in pairs if a != b), min(len(one), len(other)))


class Members:
    """What surrounds boxes on their ways, over one set of draws; what two ways have in common is made once.

    Single precision, a member a row: 0.00001 K of rounding, half the time of double.
    """

    def __init__(self, drawn: Draws) -> None:
        self.drawn = drawn
        self.van, self.doorstep = (
            gain.astype(np.float32)[:, None] for gain in (drawn.van_gain(), drawn.doorstep_gain())
        )
        self.errors: dict[tuple[int, bytes], Single] = {}
        self.starts: dict[tuple[Air, datetime, int], Single] = {}
        self.steps: dict[tuple[float, float], Single] = {}

    def of(self, shape: Shape, origin: Air, destination: Air) -> list[Single]:
        """Return what surrounds the box in each case, (members, hours + 1) in °C; NaN where nothing is forecast.

        All cases begin at the same hour, so the air at both ends is made once, for the longest.
        """
        start, number = shape.starts_at, shape.hours + 1
        first = self._origin(origin, start, number)
        last = self._destination(destination, start, number, distance_km(origin.hours, destination.hours))
        airs = {Where.ORIGIN: first, Where.DESTINATION: last, Where.BETWEEN: ambient.bracketed(first, last)}
        sunny = {Where.ORIGIN: origin, Where.DESTINATION: destination}
        lights = {where: window(air.light, air.place_of(start), number) for where, air in sunny.items()}
        in_van = {where: sun.late_by(light, sun.VAN_LAG_H).astype(np.float32) for where, light in lights.items()}
        on_step = {where: light.astype(np.float32) for where, light in lights.items()}
        found: list[Single] = []
        for case, stretches in zip(shape.cases, shape.stretches, strict=True):
            rows = np.empty((self.drawn.members, case.hours + 1), np.float32)
            same = _legs_in_common(stretches, shape.stretches[0]) if found else 0
            if same:
                alike = slice(0, stretches[same - 1].rows.stop)
                rows[:, alike] = found[0][:, alike]
            for leg in stretches[same:]:
                outside = airs[leg.where][:, leg.rows]
                if leg.exposure not in SUNNY:
                    rows[:, leg.rows] = ambient.kept(leg.exposure, outside, case.template)
                    continue
                is_van = leg.exposure == Exposure.VAN
                light = (in_van if is_van else on_step)[leg.where][leg.rows]
                np.multiply(light, self.van if is_van else self._step(case.template), out=rows[:, leg.rows])
                rows[:, leg.rows] += outside
            found.append(rows)
        return found

    def _step(self, template: Template) -> Single:
        """Return each member's gain on this doorstep."""
        if template.step_sun not in self.steps:
            least, factor = template.step_gain(members.DOORSTEP_HIGH)
            self.steps[template.step_sun] = np.float32(least) + np.float32(factor) * self.doorstep
        return self.steps[template.step_sun]

    def _origin(self, air: Air, start: datetime, number: int) -> Single:
        key = (air, start, number)
        if key not in self.starts:
            self.starts[key] = _with_error(air, start, number, self._error(air, start, number, 0))
        return self.starts[key]

    def _destination(self, air: Air, start: datetime, number: int, km: float) -> Single:
        together = forecast_error.correlation(km)
        error = np.float32(together) * self._error(air, start, number, 0)
        error += np.float32(np.sqrt(1.0 - together**2)) * self._error(air, start, number, 1)
        return _with_error(air, start, number, error)

    def _error(self, air: Air, start: datetime, number: int, place: int) -> Single:
        """Return the unit error of one end's own stream by hour, (members, hours)."""
        local = window(air.local_hour, air.place_of(start), number, beyond=0.0)
        key = (place, local.tobytes())
        if key not in self.errors:
            hour = np.minimum(np.arange(number), members.HOURS - 1)
            unit = forecast_error.unit_error(self.drawn, hour=hour, local_hour=local, place=place)
            self.errors[key] = unit.astype(np.float32)
        return self.errors[key]


def _with_error(air: Air, start: datetime, number: int, error: Single) -> Single:
    at = air.place_of(start)
    sd = window(air.sd_c(ambient.season_of(start, air.hours.latitude)), at, number)
    return error * sd.astype(np.float32) + window(air.middle_c, at, number).astype(np.float32)


def known_rows(found: Sequence[Single]) -> list[int]:
    """Return for each case how many of its hours, from the first on, are known; members lack the same hours."""
    known = []
    for rows in found:
        gaps = np.isnan(rows[0])
        known.append(int(gaps.argmax()) if gaps.any() else rows.shape[1])
    return known
