"""Compute the air around a box hour by hour for every member of a check: forecast, its error, sun and hubs.

A missing hour stays missing (NaN) in every leg that needs it. What two journeys share is computed once.
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
from breeder.core.transit.itinerary import DelayCase, Exposure, Where
from breeder.core.transit.place_air import PlaceAir, distance_km, season_at, window
from breeder.core.transit.trial_result import Journey, journey_cases
from breeder.core.transit.weather_hours import Hours

Single = NDArray[np.float32]
Precision = TypeVar("Precision", np.float32, np.float64)

# Behind a counter the air is that of a shop whose door opens now and then (judgment).
COUNTER_C, COUNTER_DOOR_SHARE = 21.0, 0.10

FILM = {
    Exposure.VAN: "indoors",
    Exposure.HUB: "indoors",
    Exposure.COUNTER: "indoors",
    Exposure.DOORSTEP: "porch",
}

SUNNY = frozenset({Exposure.VAN, Exposure.DOORSTEP})


@dataclass(frozen=True)
class LegRows:
    """The hours of a case that belong to one leg, as rows."""

    rows: slice
    exposure: Exposure
    where: Where


@dataclass(frozen=True)
class JourneyShape:
    """The delay cases of a journey in the time zones of its ends, with the legs of each as rows and films by hour."""

    cases: tuple[DelayCase, ...]
    stretches: tuple[tuple[LegRows, ...], ...]
    films: tuple[tuple[str, ...], ...]
    hours: int
    starts_at: datetime


@lru_cache(maxsize=2048)
def _shape(journey: Journey, origin: str, destination: str) -> JourneyShape:
    return shape_from_cases(journey_cases(journey, ZoneInfo(origin), ZoneInfo(destination)))


def shape_from_cases(cases: tuple[DelayCase, ...]) -> JourneyShape:
    """Return the shape of cases that begin at the same hour."""
    legs = [[case.leg_at(at) for at in case.times] for case in cases]
    stretches = []
    for row in legs:
        starts = [index for index, leg in enumerate(row) if index == 0 or leg is not row[index - 1]]
        ends = [*starts[1:], len(row)]
        stretches.append(
            tuple(
                LegRows(slice(first, last), row[first].exposure, row[first].where)
                for first, last in zip(starts, ends, strict=True)
            )
        )
    films = tuple(tuple(FILM[leg.exposure] for leg in row[:-1]) for row in legs)
    return JourneyShape(cases, tuple(stretches), films, max(case.hours for case in cases), cases[0].starts_at)


def journey_shape(journey: Journey, origin: Hours, destination: Hours) -> JourneyShape:
    """Return the shape of a journey; the same journey in the same time zones is computed once."""
    return _shape(journey, origin.timezone, destination.timezone)


def air_at_ends(shape: JourneyShape, origin: PlaceAir, destination: PlaceAir) -> tuple[float, float]:
    """Return the lowest and highest air, °C, around an on-time box at either end; NaN if no hour is known."""
    number = shape.stretches[0][-1].rows.stop
    at_end = {Where.ORIGIN: origin, Where.DESTINATION: destination}
    middles = {where: window(air.middle_c, air.index_at(shape.starts_at), number) for where, air in at_end.items()}
    stood = np.concatenate([middles[leg.where][leg.rows] for leg in shape.stretches[0] if leg.where in middles])
    known = stood[~np.isnan(stood)]
    return (float(known.min()), float(known.max())) if len(known) else (np.nan, np.nan)


def sheltered_air(exposure: Exposure, outside: NDArray[Precision], template: Template = USUAL) -> NDArray[Precision]:
    """Return the air of a hub or behind a counter, which is held near one temperature; any shape, °C."""
    if exposure == Exposure.HUB:
        return (1 - template.outside_share) * template.hub_c + template.outside_share * outside
    return (1 - COUNTER_DOOR_SHARE) * COUNTER_C + COUNTER_DOOR_SHARE * outside


def bracketed_air(origin: NDArray[Precision], destination: NDArray[Precision]) -> NDArray[Precision]:
    """Return the air outside of unknown hubs, (members, hours) in °C.

    Every second member has the air of the colder end of the journey, the others that of the warmer end.
    """
    air = np.empty_like(origin)
    np.minimum(origin[::2], destination[::2], out=air[::2])
    np.maximum(origin[1::2], destination[1::2], out=air[1::2])
    return air


def _legs_in_common(first: Sequence[LegRows], second: Sequence[LegRows]) -> int:
    """Return how many first legs two cases share; all cases of a journey have the same template."""
    pairs = enumerate(zip(first, second, strict=False))
    return next((place for place, (a, b) in pairs if a != b), min(len(first), len(second)))


class MemberAir:
    """The air around boxes for one set of draws; what two journeys share is computed once.

    Each member is a row in single precision: 0.00001 K of rounding, half the time of double precision.
    """

    def __init__(self, drawn: Draws) -> None:
        self.drawn = drawn
        self.van, self.doorstep = (
            gain.astype(np.float32)[:, None] for gain in (drawn.van_gain(), drawn.doorstep_gain())
        )
        self.errors: dict[tuple[int, bytes], Single] = {}
        self.starts: dict[tuple[PlaceAir, datetime, int], Single] = {}
        self.steps: dict[tuple[float, float], Single] = {}

    def ambient_cases(self, shape: JourneyShape, origin: PlaceAir, destination: PlaceAir) -> tuple[AmbientCase, ...]:
        """Return the air around the box in each delay case.

        All cases begin at the same hour, so the air at both ends is computed once, for the longest case.
        """
        start, number = shape.starts_at, shape.hours + 1
        first = self.at_origin(origin, start, number)
        last = self.at_destination(destination, start, number, distance_km(origin.hours, destination.hours))
        airs = {Where.ORIGIN: first, Where.DESTINATION: last, Where.BETWEEN: bracketed_air(first, last)}
        sunny = {Where.ORIGIN: origin, Where.DESTINATION: destination}
        lights = {where: window(air.light, air.index_at(start), number) for where, air in sunny.items()}
        in_van = {where: sun.late_by(light, sun.VAN_LAG_H).astype(np.float32) for where, light in lights.items()}
        on_step = {where: light.astype(np.float32) for where, light in lights.items()}
        case_rows: list[Single] = []
        for case, stretches in zip(shape.cases, shape.stretches, strict=True):
            air_rows = np.empty((self.drawn.members, case.hours + 1), np.float32)
            same = _legs_in_common(stretches, shape.stretches[0]) if case_rows else 0
            if same:
                alike = slice(0, stretches[same - 1].rows.stop)
                air_rows[:, alike] = case_rows[0][:, alike]
            for leg in stretches[same:]:
                outside = airs[leg.where][:, leg.rows]
                if leg.exposure not in SUNNY:
                    air_rows[:, leg.rows] = sheltered_air(leg.exposure, outside, case.template)
                    continue
                is_van = leg.exposure == Exposure.VAN
                light = (in_van if is_van else on_step)[leg.where][leg.rows]
                np.multiply(light, self.van if is_van else self._step(case.template), out=air_rows[:, leg.rows])
                air_rows[:, leg.rows] += outside
            case_rows.append(air_rows)
        return tuple(
            AmbientCase(case.name, case.weight, air_rows, films)
            for case, air_rows, films in zip(shape.cases, case_rows, shape.films, strict=True)
        )

    def _step(self, template: Template) -> Single:
        """Return the gain of each member on this doorstep, K per W/m²."""
        if template.step_sun not in self.steps:
            least, factor = template.step_gain(ensemble_draws.DOORSTEP_HIGH)
            self.steps[template.step_sun] = np.float32(least) + np.float32(factor) * self.doorstep
        return self.steps[template.step_sun]

    def at_origin(self, air: PlaceAir, start: datetime, number: int) -> Single:
        """Return the air outside at the origin, (members, hours) in °C: the forecast plus the error for its lead."""
        key = (air, start, number)
        if key not in self.starts:
            self.starts[key] = _with_error(air, start, number, self._error(air, start, number, 0))
        return self.starts[key]

    def at_destination(self, air: PlaceAir, start: datetime, number: int, km: float) -> Single:
        """Return the same at the destination; the nearer it is, the more its errors follow those of the origin."""
        together = forecast_error.correlation(km)
        error = np.float32(together) * self._error(air, start, number, 0)
        error += np.float32(np.sqrt(1.0 - together**2)) * self._error(air, start, number, 1)
        return _with_error(air, start, number, error)

    def _error(self, air: PlaceAir, start: datetime, number: int, place: int) -> Single:
        """Return the unit errors drawn for one end by hour, (members, hours)."""
        local = window(air.local_hour, air.index_at(start), number, beyond=0.0)
        key = (place, local.tobytes())
        if key not in self.errors:
            hour = np.minimum(np.arange(number), ensemble_draws.HOURS - 1)
            unit = forecast_error.unit_error(self.drawn, hour=hour, local_hour=local, place=place)
            self.errors[key] = unit.astype(np.float32)
        return self.errors[key]


def _with_error(air: PlaceAir, start: datetime, number: int, error: Single) -> Single:
    at = air.index_at(start)
    sd = window(air.sd_c(season_at(start, air.hours.latitude)), at, number)
    return error * sd.astype(np.float32) + window(air.middle_c, at, number).astype(np.float32)
