"""Stage matrices: young and adults from month to month in a tub of limited capacity."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Matrix = npt.NDArray[np.float64]
MONTHS_PER_YEAR = 12


@dataclass(frozen=True)
class VitalRates:
    """Vital rates of a species: young in a brood, broods a year, months to maturity and survival of young until then.

    `share_female` is the share of females and `adult_life_months` the mean life of an adult.
    """

    brood: float
    broods_a_year: float
    mature_months: float
    young_survival: float
    share_female: float
    adult_life_months: float


def stay_and_leave(survival: float, duration: float) -> tuple[float, float]:
    """Return (P, G), the chances to stay in and to leave a stage of fixed `duration` with `survival` per step.

    P = s(1 − s^(d−1))/(1 − s^d), G = s^d(1 − s)/(1 − s^d). All leave a stage that lasts one step; when none die, the
    share 1/d leaves. Source: Crouse, Crowder & Caswell 1987, Ecology 68:1412.
    """
    if survival >= 1:
        return 1 - 1 / duration, 1 / duration
    leaving = survival**duration * (1 - survival) / (1 - survival**duration)
    return survival - leaving, leaving


def stage_matrix(vital: VitalRates) -> Matrix:
    """Return the monthly matrix of young and adults (both sexes counted): births on top, growing up below.

    Each adult, male or female, counts as `share_female` mothers. Source: Lefkovitch 1965, Biometrics 21:1.
    """
    months = max(1.0, vital.mature_months)
    stay, grow = stay_and_leave(vital.young_survival ** (1 / months), months)
    births = vital.brood * vital.broods_a_year / MONTHS_PER_YEAR * vital.share_female
    return np.array([[stay, births], [grow, math.exp(-1 / vital.adult_life_months)]])


def growth_rate(matrix: Matrix) -> float:
    """Return λ, the dominant eigenvalue: the factor of growth in one step of an uncrowded tub."""
    return float(max(np.linalg.eigvals(matrix), key=abs).real)


def sustainable_share(matrix: Matrix) -> float:
    """Return h = 1 − 1/λ, the share of every stage that may be taken after each step; 0 when the tub does not grow.

    Source: Usher 1966, J. Appl. Ecol. 3:355.
    """
    return max(0.0, 1 - 1 / growth_rate(matrix))


def sustainable_stage_share(matrix: Matrix, stage: int) -> float:
    """Return the share of one stage alone that may be taken after each step; 0 when the tub does not grow.

    It is the h at which the dominant eigenvalue of diag(1 − h)·A is 1, with h only in the row of `stage`. The
    determinant of I − diag(1 − h)·A is linear in h, so the root needs no search. The result is 1 when the tub grows
    even without that stage. Source: Caswell 2001, Matrix Population Models (harvest of stages; from memory).
    """
    if growth_rate(matrix) <= 1:
        return 0.0
    without = matrix.copy()
    without[stage] = 0.0
    if growth_rate(without) >= 1:
        return 1.0
    none_left, all_left = (float(np.linalg.det(np.eye(len(matrix)) - growth)) for growth in (without, matrix))
    return 1 - none_left / (none_left - all_left)


def stable_stages(matrix: Matrix) -> Matrix:
    """Return the long-run shares of the stages; they add up to 1."""
    values, vectors = np.linalg.eig(matrix)
    settled = np.abs(vectors[:, int(np.argmax(np.abs(values)))].real)
    return np.asarray(settled / settled.sum())


def reproductive_value(matrix: Matrix) -> Matrix:
    """Return the reproductive value of an animal of each stage, relative to the first stage."""
    values = stable_stages(matrix.T)
    return np.asarray(values / values[0])


def project(matrix: Matrix, numbers: Matrix, steps: int, capacity: float = math.inf) -> Matrix:
    """Return the numbers by stage after `steps` in a tub with room for `capacity` animals.

    Each step multiplies by the matrix and divides by 1 + (λ − 1)·N/K, so that the total of a settled tub follows
    Beverton & Holt 1957. A tub that would shrink anyway is not crowded.
    """
    crowding = max(0.0, growth_rate(matrix) - 1) / capacity
    now = np.asarray(numbers, dtype=float)
    for _ in range(steps):
        now = matrix @ now / (1 + crowding * now.sum())
    return now
