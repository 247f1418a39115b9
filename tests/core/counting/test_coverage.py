"""The safe number is safe: simulated tubs, clustered animals, one eye, counts again and sales between.

No outside source: simulation, seeded. Each test has a control, an easier bound in common use, that must fall short
here; if the control held too, the simulation would prove nothing.
"""

import math
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pytest
from numpy.random import Generator
from scipy import stats

from breeder.core.counting.methods import portions
from breeder.core.stock import Ageing, Belief, Counted, Moved, after, counted_from, lower
from tests.core.counting.controls import poisson_lower

RUNS = 1000
STANDARD_ERRORS = 2  # the simulated coverage may lie this far under the nominal one
START = date(2026, 1, 1)
AGEING = Ageing()
SCOOPS, TAKEN = 80, 8
EYE_OWN, EYE_SHARED = 0.25, 0.35  # log scale; the shared error is drawn once for a keeper and tub


def enough(level: float, runs: int = RUNS) -> float:
    return level - STANDARD_ERRORS * math.sqrt(level * (1 - level) / runs)


def clumped(draw: Generator, mean: float, k: float | None) -> np.ndarray:
    """Animals in each scoop of a tub: negative binomial with clumping k, or spread evenly for None."""
    rates = np.full(SCOOPS, mean) if k is None else draw.gamma(k, mean / k, SCOOPS)
    return draw.poisson(rates)


@pytest.mark.parametrize(("k", "poisson_at_most"), [(2.0, 0.85), (0.5, 0.75)])
def test_portions_of_clustered_animals_are_safe_and_a_poisson_bound_is_not(k: float, poisson_at_most: float) -> None:
    draw = np.random.default_rng(11)
    safe = poisson = runs = 0
    while runs < RUNS:
        scoops = clumped(draw, 10, k)
        taken = draw.choice(scoops, TAKEN, replace=False)
        if not taken.sum():
            continue
        runs += 1
        bound = portions([int(n) for n in taken], [1.0] * TAKEN, SCOOPS).lower
        assert bound is not None
        safe += bound <= scoops.sum()
        poisson += poisson_lower(taken.sum(), 0.95) * SCOOPS / TAKEN <= scoops.sum()
    assert safe / RUNS >= enough(0.95)
    assert poisson / RUNS < poisson_at_most


def test_portions_of_evenly_spread_animals_are_safe_without_being_timid() -> None:
    draw = np.random.default_rng(12)
    shares = []
    for _ in range(RUNS):
        scoops = clumped(draw, 10, None)
        count = portions([int(n) for n in draw.choice(scoops, TAKEN, replace=False)], [1.0] * TAKEN, SCOOPS)
        shares.append(count.lower / scoops.sum())  # type: ignore[operator]
    assert np.mean(np.array(shares) <= 1) >= enough(0.95)
    assert np.median(shares) > 0.75


@dataclass
class Refitted:
    """The control: one log-normal, counts joined as if independent, re-fitted to its variance after every sale."""

    log_middle: float | None = None
    variance: float = 0.0

    def count(self, estimate: float, log_sd: float) -> None:
        if self.log_middle is None:
            self.log_middle, self.variance = math.log(estimate), log_sd**2
            return
        gain = self.variance / (self.variance + log_sd**2)
        self.log_middle += gain * (math.log(estimate) - self.log_middle)
        self.variance *= 1 - gain

    def sell(self, number: int) -> None:
        middle = math.exp(self.log_middle or 0.0)
        if middle > number + 1:
            self.log_middle = math.log(middle - number)
            self.variance *= (middle / (middle - number)) ** 2

    def wait(self, months: float) -> None:
        self.log_middle = (self.log_middle or 0.0) - months / AGEING.adult_life_months
        self.variance += AGEING.widening_per_month * months

    def lower(self, z: float) -> float:
        return math.exp((self.log_middle or 0.0) - z * math.sqrt(self.variance))


def wait_in_tub(draw: Generator, held: int, months: float) -> int:
    """What the months do to the animals themselves: deaths of age, and luck."""
    drift = draw.normal(-months / AGEING.adult_life_months, math.sqrt(AGEING.widening_per_month * months))
    return max(1, round(held * math.exp(drift)))


def eye_history(draw: Generator, counts: int, share_sold: float, confidence: float) -> tuple[bool, bool]:
    """One tub through counts by eye a month apart, a sale after each: is the bound safe, is the control's?"""
    held, eye_error = round(math.exp(draw.normal(math.log(150), 0.4))), draw.normal(0, EYE_SHARED)
    belief: Belief | None = None
    control, day = Refitted(), START
    for _ in range(counts):
        guess = held * math.exp(eye_error + draw.normal(0, EYE_OWN))
        count = Counted(day, guess, math.hypot(EYE_OWN, EYE_SHARED), EYE_SHARED)
        belief = after(belief, count, AGEING, "adults")
        control.count(count.estimate, count.log_sd)
        sold = min(held - 1, int(share_sold * lower(belief, day, confidence, AGEING, "adults")))
        belief = after(belief, Moved(day, -sold, "packed"), AGEING, "adults")
        control.sell(sold)
        held -= sold
        day += timedelta(days=30)
        held, months = wait_in_tub(draw, held, 30 / 30.4375), 30 / 30.4375
        control.wait(months)
    assert belief is not None
    z = float(stats.norm.ppf(confidence))
    return lower(belief, day, confidence, AGEING, "adults") <= held, math.floor(control.lower(z)) <= held


@pytest.mark.parametrize(
    ("counts", "share_sold", "confidence", "control_at_most"),
    [(1, 0.5, 0.95, 0.94), (2, 0.0, 0.95, 0.93), (4, 0.0, 0.95, 0.90), (3, 0.3, 0.95, 0.90), (4, 0.3, 0.80, 0.79)],
)
def test_one_eye_counting_again_with_sales_between_stays_safe(
    counts: int, share_sold: float, confidence: float, control_at_most: float
) -> None:
    draw = np.random.default_rng(100 * counts + round(10 * share_sold))
    histories = np.array([eye_history(draw, counts, share_sold, confidence) for _ in range(RUNS)])
    safe, control = histories.mean(axis=0)
    assert safe >= enough(confidence)
    assert control <= control_at_most


def portion_history(draw: Generator) -> tuple[bool, bool]:
    """One clustered tub counted in portions three times with an error of method, sold from, and left for a month."""
    held, error = round(math.exp(draw.normal(math.log(400), 0.4))), draw.normal(0, 0.10)
    belief: Belief | None = None
    control, day = Refitted(), START
    for _ in range(3):
        rates = draw.gamma(1.0, 1.0, SCOOPS)
        scoops = draw.multinomial(held, rates / rates.sum())
        taken = [max(0, round(n * math.exp(error))) for n in draw.choice(scoops, TAKEN, replace=False)]
        if not sum(taken):
            continue
        count = counted_from(day, portions(taken, [1.0] * TAKEN, SCOOPS, shared_sd=0.10))
        belief = after(belief, count, AGEING, "young")
        control.count(count.estimate, 1 / math.sqrt(sum(taken)))  # as if animals were spread evenly
        sold = min(held - 1, int(0.3 * lower(belief, day, 0.95, AGEING, "young")))
        belief = after(belief, Moved(day, -sold, "packed"), AGEING, "young")
        control.sell(sold)
        held -= sold
        day += timedelta(days=30)
    assert belief is not None
    return lower(belief, day, 0.95, AGEING, "young") <= held, math.floor(control.lower(1.645)) <= held


def test_clustered_animals_counted_in_portions_again_with_sales_between_stay_safe() -> None:
    draw = np.random.default_rng(7)
    safe, control = np.array([portion_history(draw) for _ in range(RUNS // 2)]).mean(axis=0)
    assert safe >= enough(0.95, RUNS // 2)
    assert control < 0.88
