"""What risk a kit runs: every delay case and member swept, and the best kit of several."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from .batch import Swept, sweep_cases
from .ensemble_draws import Draws
from .kit import Kit
from .kit_risk import QUANTILES, Judged, Outcome, judge, outcome
from .simulation import PER_HOUR, Surroundings, inside_all, surroundings
from .verdict import GO, Limits, Tolerance, preference, strain

Array = NDArray[np.float64]
LEAST_ROWS = 2  # the weather of one hour


@dataclass(frozen=True, eq=False)
class AmbientCase:
    """One delay case: its weight and what surrounds the box in each member.

    `ambient_c` (N, hours + 1), a member per row, in degC at whole hours, NaN where the forecast has nothing: all
    members lack the same hours. `film_by_hour` names one of `box.FILMS` for each of the hours, or None for the box's
    own.
    """

    name: str
    weight: float
    ambient_c: NDArray[np.floating]
    film_by_hour: tuple[str, ...] | None = None

    @property
    def hours(self) -> int:
        """Return how many hours there are, both ends included."""
        return self.ambient_c.shape[1]

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

    def around(self, kit: Kit, start_c: float, drawn: Draws) -> Surroundings:
        """Return what surrounds a kit as far as it is known. Raises ValueError where that is not even one hour."""
        return surroundings(
            self.ambient_c[:, : self.known].T,
            start_c=start_c + drawn.start_offset_k(),
            leak=leak_of(kit, drawn),
            pack_energy=drawn.pack_energy(),
            film_by_hour=self.films,
        )


def try_kit(
    kit: Kit, cases: Sequence[AmbientCase], limits: Limits, tolerance: Tolerance, *, start_c: float, draws: Draws
) -> Outcome:
    """Return the outcome of one kit over all delay cases.

    With a missing hour a member is unknown unless it has failed before that hour. `draws` give each member its leak,
    pack energy and start (in degC about `start_c`). Raises ValueError where the weights do not add up to 1 or a case
    has another number of members than are drawn.
    """
    run = [case for case in cases if case.known >= LEAST_ROWS]
    around = [case.around(kit, start_c, draws) for case in run]
    found = iter(sweep_cases(kit, around, low_c=limits.low_c, high_c=limits.high_c, per_hour=PER_HOUR))
    start = start_c + draws.start_offset_k()
    swept = [next(found) if case.known >= LEAST_ROWS else _at_start(start, limits) for case in cases]
    return outcome([_judged(case, each, limits) for case, each in zip(cases, swept, strict=True)], tolerance)


def _at_start(start_c: Array, limits: Limits) -> Swept:
    """Return what members feel of whom nothing is known but how warm they start."""
    found = Swept.empty(len(start_c))
    found.coldest_c[:] = found.warmest_c[:] = start_c
    found.left_below[start_c < limits.low_c] = found.left_above[start_c > limits.high_c] = 0.0
    return found


def _judged(case: AmbientCase, swept: Swept, limits: Limits) -> Judged:
    complete = np.full(len(swept.coldest_c), not case.missing)
    missing = tuple(float(hour) for hour in case.missing)
    return judge(case.name, case.weight, swept, limits, complete=complete, missing_hours=missing)


def leak_of(kit: Kit, drawn: Draws) -> Array:
    """Return what multiplies the conductance: about 1 for a box that was measured, else leakier than drawn."""
    if kit.measured_sd_ln is None:
        return drawn.leak_factor()
    return drawn.leak_factor(1.0, kit.measured_sd_ln)


@dataclass(frozen=True)
class Band:
    """The payload through one case: the quantiles 0.05, 0.5, 0.95 at each whole hour, degC (NaN: unknown)."""

    low_c: tuple[float, ...]
    middle_c: tuple[float, ...]
    high_c: tuple[float, ...]


def curve_of(kit: Kit, case: AmbientCase, *, start_c: float, draws: Draws) -> Band:
    """Return the payload of one kit through one case; from the first missing hour on nothing is known."""
    quantiles = np.full((len(QUANTILES), case.hours), np.nan)
    quantiles[:, 0] = np.quantile(start_c + draws.start_offset_k(), QUANTILES)
    if case.known >= LEAST_ROWS:
        payload_c = inside_all(kit, [case.around(kit, start_c, draws)])[0].payload_c[::PER_HOUR]
        quantiles[:, : case.known] = np.quantile(payload_c, QUANTILES, axis=1)
    return Band(*(tuple(float(one) for one in row) for row in quantiles))


@dataclass(frozen=True)
class Offer:
    """A kit that could be used: its name, what it costs, and what came of trying it."""

    name: str
    cost: float
    outcome: Outcome


def best_of(offers: Sequence[Offer], tolerance: Tolerance) -> Offer | None:
    """Return the cheapest kit that goes easily, else the one that goes with least strain; None when none may go."""

    def order(offer: Offer) -> tuple[tuple[bool, float, float], float]:
        found = offer.outcome
        swing = found.warmest.quantiles_c[-1] - found.coldest.quantiles_c[0]
        return preference(strain(found.comfort, found.hard, tolerance), offer.cost), swing

    return min((offer for offer in offers if offer.outcome.verdict == GO), key=order, default=None)
