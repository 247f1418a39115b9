"""Simulated question "when will half as many again be there": a day is named, and it comes true as often as it says.

No outside source: simulation, seeded. The true tub is not crowded. Its rate is drawn from the species' default and its
doubt, luck acts all the time, and the counts have their method's errors plus one error that they all share. The
control is the slope of the counts alone, as it was fitted before.
"""

import math
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pytest
from numpy.random import Generator

from breeder.core.stock.growth.growth_rate import Growth, GrowthCount, default_growth, fitted_growth
from breeder.core.stock.growth.stage_matrix import VitalRates
from breeder.core.stock.growth.surplus_date import SurplusForecast, surplus_forecast

RUNS = 300
START = date(2026, 1, 1)
MONTH = 30.4375
SLOWEST, SLOW, QUICK = (
    VitalRates(8, 1.5, 12, 0.4, 0.5, 36),
    VitalRates(12, 2, 8, 0.4, 0.5, 36),
    VitalRates(25, 4, 4, 0.5, 0.5, 24),
)
EYE, PORTIONS, SORT = (0.25, 0.35), (0.15, 0.10), (0.02, 0.02)  # own and shared error, log scale


@dataclass(frozen=True)
class Ask:
    """One tub: its true rate, its counts, the true number at the last count, and the error that the counts share."""

    rate: float
    seen: list[GrowthCount]
    held: float
    shared: float


def asked(draw: Generator, default: Growth, errors: tuple[float, float], counts: int, gap: float) -> Ask:
    own_sd, shared = errors
    rate, off = draw.normal(default.rate, default.sd), draw.normal(0, shared)
    log_held, seen = math.log(draw.uniform(40, 120)), []
    for place in range(counts):
        if place:
            log_held += rate * gap + draw.normal(0, math.sqrt(0.02 * gap))
        on = START + timedelta(days=round(place * gap * MONTH))
        count = math.exp(log_held + off + draw.normal(0, own_sd))
        seen.append(GrowthCount(on, count, math.hypot(own_sd, shared), shared_sd=shared, way="the same"))
    return Ask(rate, seen, math.exp(log_held), off)


def slope_alone(seen: list[GrowthCount]) -> Growth:
    """The control: a straight line through the counts, weighted by their errors; its doubt comes from those errors."""
    months = np.array([(count.on - START).days / MONTH for count in seen])
    heights = np.log([count.estimate for count in seen])
    weight = 1 / seen[0].log_sd ** 2
    rate, start = np.polyfit(months, heights, 1)
    apart = weight * float(np.sum((heights - start - rate * months) ** 2)) / (len(seen) - 2)
    across = weight * float(np.sum((months - months.mean()) ** 2))
    return Growth(float(rate), math.sqrt(max(1.0, apart) / across), len(seen), "")


def forecast(ask: Ask, growth: Growth | None) -> SurplusForecast:
    assert growth is not None
    last = ask.seen[-1]
    return surplus_forecast(last.on, last.estimate, last.log_sd, growth, round(last.estimate / 2), round(last.estimate))


def came_true(draw: Generator, ask: Ask, on: date) -> bool:
    months = (on - ask.seen[-1].on).days / MONTH
    log_held = math.log(ask.held) + ask.rate * months + draw.normal(0, math.sqrt(0.02 * months))
    return log_held >= math.log(1.5 * ask.seen[-1].estimate)


@pytest.mark.parametrize(
    ("vital", "errors", "counts", "gap", "unnamed_before"),
    [
        (SLOWEST, EYE, 3, 1.1, 0.75),
        (SLOW, EYE, 3, 1.1, 0.60),
        (SLOW, PORTIONS, 3, 1.1, 0.30),
        (SLOW, EYE, 5, 2.0, 0.15),
        (QUICK, EYE, 3, 1.1, 0.15),
        (QUICK, SORT, 3, 1.1, 0.03),
    ],
    ids=["slowest eye", "slow eye", "slow portions", "slow eye long", "quick eye", "quick sort"],
)
def test_a_slope_weighed_with_the_default_names_a_day_and_is_nearer_the_truth(
    vital: VitalRates, errors: tuple[float, float], counts: int, gap: float, unnamed_before: float
) -> None:
    draw, default = np.random.default_rng(21), default_growth(vital)
    asks = [asked(draw, default, errors, counts, gap) for _ in range(RUNS)]
    weighed = [fitted_growth(ask.seen, default) for ask in asks]
    alone = [slope_alone(ask.seen) for ask in asks]
    named, before = (
        [forecast(ask, growth) for ask, growth in zip(asks, kind, strict=True)] for kind in (weighed, alone)
    )
    assert np.mean([answer.sure_on is None for answer in before]) >= unnamed_before
    assert np.mean([answer.sure_on is None for answer in named]) <= 0.10
    off = np.array([(growth.rate - ask.rate) / growth.sd for ask, growth in zip(asks, weighed, strict=True) if growth])
    assert np.mean(np.abs(off) <= 1.96) >= 0.92
    errors_by = [
        math.sqrt(np.mean([(growth.rate - ask.rate) ** 2 for ask, growth in zip(asks, kind, strict=True) if growth]))
        for kind in (weighed, alone)
    ]
    assert errors_by[0] < errors_by[1]
    sure = [came_true(draw, ask, answer.sure_on) for ask, answer in zip(asks, named, strict=True) if answer.sure_on]
    assert np.mean(sure) >= 0.80 - 2 * math.sqrt(0.16 / len(sure))
