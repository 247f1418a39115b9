"""What risk a kit runs: every delay case and member simulated, and the best kit of several."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .ensemble_draws import Draws
from .kit import Kit
from .kit_risk import Outcome, cut, judge, outcome
from .simulation import Surroundings, inside_all, surroundings
from .verdict import GO, Limits, Tolerance, preference, strain

Array = NDArray[np.float64]


@dataclass(frozen=True)
class AmbientCase:
    """One delay case: its weight and what surrounds the box in each member.

    `ambient_c` (hours + 1, N) in degC at whole hours, NaN where the forecast has nothing; `film_by_hour` names one of
    `box.FILMS` for each of the hours, or None for the box's own.
    """

    name: str
    weight: float
    ambient_c: Array
    film_by_hour: tuple[str, ...] | None = None


def try_kit(
    kit: Kit,
    cases: Sequence[AmbientCase],
    limits: Limits,
    tolerance: Tolerance,
    *,
    start_c: float,
    draws: Draws | None,
) -> Outcome:
    """Return the outcome of one kit over all delay cases.

    A member fails comfort when its hours outside the band exceed the allowance, and the hard limits when the payload
    is ever beyond them. With a missing hour it is unknown unless it has failed before that hour. `draws` give each
    member its leak, pack energy and start (in degC about `start_c`); None takes the kit as it is.
    Raises ValueError where the weights do not add up to 1 or a case has more members than the draws.
    """
    missing = [np.isnan(case.ambient_c) for case in cases]
    around = [_around(kit, case, gap, start_c, draws) for case, gap in zip(cases, missing, strict=True)]
    judged = []
    for case, gap, found in zip(cases, missing, inside_all(kit, around), strict=True):
        complete = ~gap.any(axis=0)
        payload = cut(found.hour, found.payload_c, gap.argmax(axis=0) - 1.0, complete)
        hours = tuple(float(hour) for hour in np.flatnonzero(gap.any(axis=1)))
        judged.append(
            judge(
                case.name,
                case.weight,
                found.hour,
                payload,
                limits,
                complete=complete,
                stalled=found.stalled,
                missing_hours=hours,
            )
        )
    return outcome(judged, limits, tolerance)


def _around(
    kit: Kit, case: AmbientCase, missing: NDArray[np.bool_], start_c: float, draws: Draws | None
) -> Surroundings:
    """Return the surroundings with gaps filled by anything finite: what follows a gap is not looked at."""
    weather = np.where(missing, start_c, case.ambient_c) if missing.any() else case.ambient_c
    members = weather.shape[1]
    if draws is None:
        return surroundings(weather, start_c=start_c, film_by_hour=case.film_by_hour)
    if members > draws.members:
        raise ValueError(f"Case {case.name} has {members} members, but only {draws.members} are drawn.")
    drawn = draws.first(members)
    return surroundings(
        weather,
        start_c=start_c + drawn.start_offset_k(),
        leak=leak_of(kit, drawn),
        pack_energy=drawn.pack_energy(),
        film_by_hour=case.film_by_hour,
    )


def leak_of(kit: Kit, drawn: Draws) -> Array:
    """Return what multiplies the conductance: about 1 for a box that was measured, else leakier than drawn."""
    if kit.measured_sd_ln is None:
        return drawn.leak_factor()
    return drawn.leak_factor(1.0, kit.measured_sd_ln)


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
