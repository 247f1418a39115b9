"""What surrounds boxes hour by hour, for every member of a check: forecast and its error at both ends, sun and hubs.

A missing hour stays missing (NaN) in every leg that needs it. What two ways have in common is made once.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import TypeVar
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from breeder.core.thermal import ensemble_draws, forecast_error, sun
from breeder.core.thermal.ensemble_draws import Draws
from breeder.core.thermal.evaluate_kit import AmbientCase
from breeder.core.transit.exposure import USUAL, Template
from breeder.core.transit.itinerary import Case, Exposure, Where
from breeder.core.transit.place_air import Air, distance_km, season_of, window
from breeder.core.transit.trial_result import Journey, journey_cases
from breeder.core.transit.weather_hours import Hours

Single = NDArray[np.float32]
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
    return shape_of_cases(journey_cases(journey, ZoneInfo(origin), ZoneInfo(destination)))


def shape_of_cases(cases: tuple[Case, ...]) -> Shape:
    """Return cases that begin at the same hour with their legs as rows."""
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


def shape_of(journey: Journey, origin: Hours, destination: Hours) -> Shape:
    """Return the cases of a journey with their legs as rows; the same journey on the same clocks is shaped once."""
    return _shape(journey, origin.timezone, destination.timezone)


def air_at_ends(shape: Shape, origin: Air, destination: Air) -> tuple[float, float]:
    """Return the lowest and highest air at either end while the box stands in it on time, NaN where none is known."""
    number = shape.stretches[0][-1].rows.stop
    at_end = {Where.ORIGIN: origin, Where.DESTINATION: destination}
    middles = {where: window(air.middle_c, air.place_of(shape.starts_at), number) for where, air in at_end.items()}
    stood = np.concatenate([middles[leg.where][leg.rows] for leg in shape.stretches[0] if leg.where in middles])
    known = stood[~np.isnan(stood)]
    return (float(known.min()), float(known.max())) if len(known) else (np.nan, np.nan)


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

    def of(self, shape: Shape, origin: Air, destination: Air) -> tuple[AmbientCase, ...]:
        """Return what surrounds the box in each delay case.

        All cases begin at the same hour, so the air at both ends is made once, for the longest.
        """
        start, number = shape.starts_at, shape.hours + 1
        first = self.at_origin(origin, start, number)
        last = self.at_destination(destination, start, number, distance_km(origin.hours, destination.hours))
        airs = {Where.ORIGIN: first, Where.DESTINATION: last, Where.BETWEEN: bracketed(first, last)}
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
                    rows[:, leg.rows] = kept(leg.exposure, outside, case.template)
                    continue
                is_van = leg.exposure == Exposure.VAN
                light = (in_van if is_van else on_step)[leg.where][leg.rows]
                np.multiply(light, self.van if is_van else self._step(case.template), out=rows[:, leg.rows])
                rows[:, leg.rows] += outside
            found.append(rows)
        return tuple(
            AmbientCase(case.name, case.weight, rows, films)
            for case, rows, films in zip(shape.cases, found, shape.films, strict=True)
        )

    def _step(self, template: Template) -> Single:
        """Return each member's gain on this doorstep."""
        if template.step_sun not in self.steps:
            least, factor = template.step_gain(ensemble_draws.DOORSTEP_HIGH)
            self.steps[template.step_sun] = np.float32(least) + np.float32(factor) * self.doorstep
        return self.steps[template.step_sun]

    def at_origin(self, air: Air, start: datetime, number: int) -> Single:
        """Return the air outside at the origin, (members, hours) in °C: the forecast with the error of its lead."""
        key = (air, start, number)
        if key not in self.starts:
            self.starts[key] = _with_error(air, start, number, self._error(air, start, number, 0))
        return self.starts[key]

    def at_destination(self, air: Air, start: datetime, number: int, km: float) -> Single:
        """Return the same at the destination; the fewer km it is away, the more its errors are those of the origin."""
        together = forecast_error.correlation(km)
        error = np.float32(together) * self._error(air, start, number, 0)
        error += np.float32(np.sqrt(1.0 - together**2)) * self._error(air, start, number, 1)
        return _with_error(air, start, number, error)

    def _error(self, air: Air, start: datetime, number: int, place: int) -> Single:
        """Return the unit error of one end's own stream by hour, (members, hours)."""
        local = window(air.local_hour, air.place_of(start), number, beyond=0.0)
        key = (place, local.tobytes())
        if key not in self.errors:
            hour = np.minimum(np.arange(number), ensemble_draws.HOURS - 1)
            unit = forecast_error.unit_error(self.drawn, hour=hour, local_hour=local, place=place)
            self.errors[key] = unit.astype(np.float32)
        return self.errors[key]


def _with_error(air: Air, start: datetime, number: int, error: Single) -> Single:
    at = air.place_of(start)
    sd = window(air.sd_c(season_of(start, air.hours.latitude)), at, number)
    return error * sd.astype(np.float32) + window(air.middle_c, at, number).astype(np.float32)
