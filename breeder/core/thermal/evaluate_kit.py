"""Evaluate a kit over every delay case and member, and choose the best of several kits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from .batch import SweepResult, sweep_cases
from .ensemble_draws import Draws
from .kit import ThermalKit
from .kit_risk import QUANTILES, JudgedCase, KitRisk, judge_case, overall_risk
from .simulation import PER_HOUR, Surroundings, Weather, simulate_cases, surroundings
from .verdict import GO, Limits, Tolerance, kit_preference, strain

Array = NDArray[np.float64]
LEAST_ROWS = 2  # temperatures, at the two ends of one hour


@dataclass(frozen=True, eq=False)
class AmbientCase:
    """One delay case: its weight and the air around the box in each member.

    `ambient_c` (N, hours + 1), a member per row, in degC at whole hours, NaN where the forecast has no value: all
    members lack the same hours. `film_by_hour` names one of `box.FILMS` for each hour; None means the film of the box.
    """

    name: str
    weight: float
    ambient_c: Weather
    film_by_hour: tuple[str, ...] | None = None

    @property
    def hours(self) -> int:
        """Return how many hours there are, both ends included."""
        return int(self.ambient_c.shape[1])

    @cached_property
    def missing(self) -> tuple[int, ...]:
        """Return which hours are missing."""
        return tuple(np.flatnonzero(np.isnan(self.ambient_c[0])).tolist())

    @property
    def known(self) -> int:
        """Return how many hours, from the first on, are known."""
        return self.missing[0] if self.missing else self.hours

    @property
    def films(self) -> tuple[str, ...] | None:
        """Return the films of the hours that are known."""
        return None if self.film_by_hour is None else self.film_by_hour[: max(self.known - 1, 0)]

    def around(self, kit: ThermalKit, start_c: float, drawn: Draws) -> Surroundings:
        """Return the surroundings of a kit up to the first missing hour. Raises ValueError if not one hour is known."""
        return surroundings(
            self.ambient_c[:, : self.known].T,
            start_c=start_c + drawn.start_offset_k(),
            leak=leak_factors(kit, drawn),
            pack_energy=drawn.pack_energy(),
            film_by_hour=self.films,
        )


def try_kit(
    kit: ThermalKit, cases: Sequence[AmbientCase], limits: Limits, tolerance: Tolerance, *, start_c: float, draws: Draws
) -> KitRisk:
    """Return the outcome of one kit over all delay cases.

    From a missing hour on a member is unknown unless it failed before. `draws` give each member its leak, pack energy
    and start (in degC around `start_c`). Raises ValueError if the weights do not add up to 1 or a case has a different
    number of members from `draws`.
    """
    run = [case for case in cases if case.known >= LEAST_ROWS]
    around = [case.around(kit, start_c, draws) for case in run]
    results = iter(sweep_cases(kit, around, low_c=limits.low_c, high_c=limits.high_c, per_hour=PER_HOUR))
    start = start_c + draws.start_offset_k()
    swept = [next(results) if case.known >= LEAST_ROWS else _at_start(start, limits) for case in cases]
    return overall_risk([_judged(case, each, limits) for case, each in zip(cases, swept, strict=True)], tolerance)


def _at_start(start_c: Array, limits: Limits) -> SweepResult:
    """Return the result for members of which only the start temperature is known."""
    swept = SweepResult.empty(len(start_c))
    swept.coldest_c[:] = swept.warmest_c[:] = start_c
    swept.left_below[start_c < limits.low_c] = swept.left_above[start_c > limits.high_c] = 0.0
    return swept


def _judged(case: AmbientCase, swept: SweepResult, limits: Limits) -> JudgedCase:
    complete = np.full(len(swept.coldest_c), not case.missing)
    missing = tuple(float(hour) for hour in case.missing)
    return judge_case(case.name, case.weight, swept, limits, complete=complete, missing_hours=missing)


def leak_factors(kit: ThermalKit, drawn: Draws) -> Array:
    """Return the factors on the conductance, (n,): around 1 for a measured box, else leakier than drawn."""
    if kit.measured_sd_ln is None:
        return drawn.leak_factor()
    return drawn.leak_factor(1.0, kit.measured_sd_ln)


@dataclass(frozen=True)
class Band:
    """The payload over one case: the quantiles 0.05, 0.5, 0.95 at each whole hour, degC (NaN: unknown)."""

    low_c: tuple[float, ...]
    middle_c: tuple[float, ...]
    high_c: tuple[float, ...]


def payload_band(kit: ThermalKit, case: AmbientCase, *, start_c: float, draws: Draws) -> Band:
    """Return the payload of one kit over one case; NaN from the first missing hour on."""
    quantiles = np.full((len(QUANTILES), case.hours), np.nan)
    quantiles[:, 0] = np.quantile(start_c + draws.start_offset_k(), QUANTILES)
    if case.known >= LEAST_ROWS:
        payload_c = simulate_cases(kit, [case.around(kit, start_c, draws)])[0].payload_c[::PER_HOUR]
        quantiles[:, : case.known] = np.quantile(payload_c, QUANTILES, axis=1)
    return Band(*(tuple(float(value) for value in row) for row in quantiles))


@dataclass(frozen=True)
class KitOffer:
    """A kit that could be used: its name, its cost, and its risk."""

    name: str
    cost: float
    outcome: KitRisk


def best_offer(offers: Sequence[KitOffer], tolerance: Tolerance) -> KitOffer | None:
    """Return the cheapest kit that goes easily, else the Go with the least strain; None if no kit may go."""

    def order(offer: KitOffer) -> tuple[tuple[bool, float, float], float]:
        risk = offer.outcome
        swing = risk.warmest.quantiles_c[-1] - risk.coldest.quantiles_c[0]
        return kit_preference(strain(risk.comfort, risk.hard, tolerance), offer.cost), swing

    return min((offer for offer in offers if offer.outcome.verdict == GO), key=order, default=None)
