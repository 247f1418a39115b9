"""Every counting and growth value that is published, remembered or worked out, against the code's function."""

import math
from collections.abc import Callable, Sequence
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from scipy import optimize

from breeder.core.counting import count_effort
from breeder.core.counting.defaults import DAYS_PER_MONTH
from breeder.core.counting.methods import closed_forms, mark_recapture
from breeder.core.counting.methods.change_in_ratio import SexCounts, by_sexes
from breeder.core.counting.methods.count import Count
from breeder.core.counting.methods.direct import after_sale
from breeder.core.counting.methods.mark_recapture import exact_lower
from breeder.core.counting.methods.removal import Passes, carle_strub, removal
from breeder.core.counting.methods.removal import standard_error_form_two as second_form
from breeder.core.counting.methods.subsample import portions
from breeder.core.counting.methods.visual import index, wilson
from breeder.core.stock.belief import aged
from breeder.core.stock.events import Ageing, CountEvent
from breeder.core.stock.growth.capacity import animals_after, best_standing_stock, months_to_reach
from breeder.core.stock.growth.growth_rate import Growth, life_table_growth
from breeder.core.stock.growth.stage_matrix import (
    growth_rate,
    reproductive_value,
    stable_stages,
    stay_and_leave,
    sustainable_share,
    sustainable_stage_share,
)
from breeder.core.stock.growth.surplus_date import chance_reached
from breeder.core.stock.update import fuse
from tests.core.counting import controls
from tests.published.rows import MARKS, Row, rows_of

ROWS = rows_of("counting.csv")


def figures(count: Count, *names: str) -> list[float]:
    return [getattr(count, name) for name in names]


def number_and_share(catches: list[int]) -> list[float]:
    passes = Passes(tuple(catches))
    held = carle_strub(passes)
    return [held, passes.share_caught(held)]


def form_two(catches: list[int]) -> float:
    passes = Passes(tuple(catches))
    return second_form(passes, carle_strub(passes))


def cochran_cities_error(x: list[float], y: list[int], whole: float, cities: int) -> list[float | None]:
    """Return the cities as portions: the code takes the whole by its size, Cochran by the number of cities."""
    count, mean = portions(y, x, whole), sum(x) / len(x)
    assert count.standard_error is not None
    by_number = cities / (whole / mean) * math.sqrt((1 - len(x) / cities) / (1 - sum(x) / whole))
    return [count.estimate, count.standard_error * by_number]


def fused(middle: float, log_sd: float, count: float, cv: float) -> list[float]:
    day, ageing = date(2026, 1, 1), Ageing()
    prior = fuse(None, CountEvent(day, middle, log_sd), ageing, "young")
    belief = fuse(prior, CountEvent(day, count, math.sqrt(math.log1p(cv**2))), ageing, "young")
    return [belief.middle, belief.log_sd]


def grown_and_fused(
    middle: float, log_sd: float, first: float, cv: float, months: float, widening: float, rate: float, *second: float
) -> list[float]:
    """Return two fused counts with growth between them; a belief never grows by itself, so the growth is added here."""
    middle, log_sd = fused(middle, log_sd, first, cv)
    day, later = date(2026, 1, 1), date(2026, 3, 3)
    ageing = Ageing(widening_per_month=widening * months * DAYS_PER_MONTH / (later - day).days)
    prior = fuse(None, CountEvent(day, middle * math.exp(rate * months), log_sd), ageing, "young")
    belief = fuse(prior, CountEvent(later, second[0], math.sqrt(math.log1p(second[1] ** 2))), ageing, "young")
    assert belief.used is not None
    assert belief.used.gain == pytest.approx(0.6936, abs=5e-5)
    return [belief.middle, belief.log_sd]


def sums_of_catches(caught: list[int], again: list[int], marked: list[int]) -> list[float]:
    """Return the five published sums; the estimates are quotients of four of them."""
    estimates = closed_forms.marked_repeatedly(caught, again, marked)
    assert estimates is not None
    products, recaught = sum(c * m for c, m in zip(caught, marked, strict=True)), sum(again)
    squares = sum(c * m**2 for c, m in zip(caught, marked, strict=True))
    marks = sum(r * m for r, m in zip(again, marked, strict=True))
    assert list(vars(estimates).values()) == pytest.approx(
        [products / recaught, products / (recaught + 1), squares / marks]
    )
    return [products, recaught, squares, marks, sum(r**2 / c for c, r in zip(caught, again, strict=True))]


def local_level(noise: float, drift: float) -> list[float]:
    """Return the Nile's steady state by fusing counts a day apart; variances are scaled to a log scale of animals."""
    scale = 1e6
    ageing = Ageing(widening_per_month=drift / scale * DAYS_PER_MONTH)
    belief, day = None, date(2026, 1, 1)
    for _ in range(60):
        belief = fuse(belief, CountEvent(day, 1000.0, math.sqrt(noise / scale)), ageing, "young")
        day += timedelta(days=1)
    assert belief is not None
    assert belief.used is not None
    later = aged(belief, day, ageing, "young")
    return [belief.log_sd**2 * scale, belief.used.gain, later.log_sd**2 * scale]


def usher(inputs: Sequence[Sequence[float]]) -> list[float]:
    stay, leave, births = inputs

    def matrix(rate: float) -> np.ndarray:
        pine = np.diag(stay) + np.diag(leave, -1)
        pine[0, 3:] += np.array(births) * np.array([rate - 1, rate - 1, rate])
        return pine

    rate = optimize.brentq(lambda at: growth_rate(matrix(at)) - at, 1.01, 2)
    return [rate, 100 * sustainable_share(matrix(rate))]


def forecast_months(level: float, now: float, sd: float, rate: float, rate_sd: float, wanted: float) -> float:
    rising = Growth(rate, rate_sd, 0, "")
    return float(optimize.brentq(lambda t: chance_reached(t, now, sd, rising, wanted) - level, 0.01, 40))


def mean_and_variance(frequency: Sequence[int]) -> tuple[float, float]:
    values = np.repeat(np.arange(len(frequency)), frequency)
    return float(values.mean()), float(values.var(ddof=1))


def cochran_cities(x: float, y: int, whole: float) -> float | None:
    """The sums of the 49 cities as two portions: the ratio estimate needs no more."""
    return portions([0, y], [x / 2, x / 2], whole).estimate


CHECKS: dict[str, Callable[..., Any]] = {
    "chapman": lambda *given: figures(mark_recapture.marked(*given), "estimate", "standard_error"),
    "chapman_upper": lambda *given: mark_recapture.marked(*given).interval[1],  # type: ignore[index]
    "chapman_interval": lambda *given: list(mark_recapture.marked(*given).interval or ()),
    "exact_lower": lambda *given: exact_lower(*given, 0.95),
    "repeated": lambda *given: list(vars(closed_forms.marked_repeatedly(*given)).values()),
    "carle_strub": lambda *given: number_and_share(list(given)),
    "removal_error": lambda *given: removal(given).standard_error,
    "removal_error_form_two": lambda *given: form_two(list(given)),
    "three_passes": closed_forms.three_passes,
    "two_passes": lambda *given: list(vars(closed_forms.two_passes(*given)).values()),
    "two_passes_less_biased": closed_forms.two_passes_less_biased,
    "first_pass_differs": lambda *given: closed_forms.first_pass_chi_square(given),
    "removal_cv_percent": lambda *given: 100 * count_effort.removal_relative_error(*given),
    "leslie": lambda c, e: [(held := closed_forms.leslie_regression(c, [e] * len(c))).number, e * held.share_caught],  # type: ignore[union-attr]
    "leslie_catchability": lambda c, e: e * closed_forms.leslie_regression(c, [e] * len(c)).share_caught,  # type: ignore[union-attr]
    "delury": lambda c, e: [(held := closed_forms.delury_regression(c, [e] * len(c))).number, held.share_caught],  # type: ignore[union-attr]
    "delury_catchability": lambda c, e: closed_forms.delury_regression(c, [e] * len(c)).share_caught,  # type: ignore[union-attr]
    "after_sale": lambda *given: after_sale(*given).estimate,
    "after_sale_with_error": lambda *given: figures(after_sale(*given), "estimate", "standard_error"),
    "change_in_ratio": lambda *looks: by_sexes(*(SexCounts(*look) for look in looks)).estimate,
    "index": lambda *given: figures(index(*given), "estimate", "standard_error"),
    "index_lower": lambda *given: index(*given).lower,
    "cochran_cities": cochran_cities,
    "portions": lambda counts, sizes, whole, confidence: figures(
        portions(counts, sizes, whole, confidence=confidence), "estimate", "standard_error", "lower"
    ),
    "clumping_moments": lambda *given: count_effort.clumping_by_moments(*mean_and_variance(given)),
    "clumping_zeros": lambda *given: count_effort.clumping_by_zeros(mean_and_variance(given)[0], given[0] / sum(given)),
    "clumping_likelihood": lambda *given: count_effort.clumping_by_likelihood(given),
    "portions_needed": count_effort.portions_needed,
    "wilson": lambda *given: list(wilson(*given)),
    "wilson_lower": lambda *given: wilson(*given)[0],
    "local_level_variance": lambda *given: local_level(*given)[0],
    "local_level_predicted": lambda *given: local_level(*given)[2],
    "fused": fused,
    "grown_and_fused": grown_and_fused,
    "gamma_poisson": lambda *given: list(controls.gamma_poisson(*given)),
    "log_growth": lambda *matrix: math.log(growth_rate(np.array(matrix))),
    "clumping_rhs": lambda seen, log10: count_effort.clumping_by_zeros(mean_and_variance(seen)[0], 10**-log10),
    "mean_and_variance": lambda *given: list(mean_and_variance(given)),
    "garwood": lambda *given: [controls.poisson_lower(*given), controls.poisson_upper(*given)],
    "garwood_lower": controls.poisson_lower,
    "sums_of_catches": sums_of_catches,
    "cochran_cities_simple": lambda seen, cities: figures(
        portions(seen, [1] * len(seen), cities), "estimate", "standard_error"
    ),
    "cochran_cities_error": cochran_cities_error,
    "local_level_gain": lambda *given: local_level(*given)[1],
    "growth_rate": lambda *matrix: growth_rate(np.array(matrix)),
    "stable_percent": lambda *matrix: list(100 * stable_stages(np.array(matrix))),
    "reproductive_value": lambda *matrix: list(reproductive_value(np.array(matrix))),
    "stay_and_leave": lambda *given: list(stay_and_leave(*given)),
    "sustainable_percent": lambda *matrix: 100 * sustainable_share(np.array(matrix)),
    "sustainable_percent_of": lambda stage, matrix: 100 * sustainable_stage_share(np.array(matrix), stage),
    "usher_rate": lambda *given: usher(given)[0],
    "usher_percent": lambda *given: usher(given)[1],
    "life_table": lambda offspring, days: [
        math.exp((rate := life_table_growth(offspring, days, "").rate / DAYS_PER_MONTH) * 30),
        math.log(2) / rate,
    ],
    "after_months": lambda now, factor, months, room: animals_after(now, math.log(factor), months, room),
    "best_standing_stock": lambda room, factor: list(best_standing_stock(room, math.log(factor))),
    "months_to_reach": lambda now, wanted, factor, room: months_to_reach(
        now, wanted, math.log(factor), room or math.inf
    ),
    "forecast_months": forecast_months,
}


@pytest.mark.parametrize("row", ROWS, ids=str)
def test_the_room_gives_the_published_value(row: Row) -> None:
    assert CHECKS[row.check](*row.inputs) == pytest.approx(row.expected, abs=row.tolerance + 1e-12, rel=0)


def test_every_row_names_its_source_and_its_mark() -> None:
    assert all(row.source and row.mark.startswith(MARKS) for row in ROWS)
