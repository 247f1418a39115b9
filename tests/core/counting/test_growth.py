"""Growth in a tub of limited capacity, and when a surplus will be there."""

import math
from datetime import date, timedelta

import numpy as np
import pytest

from breeder.core.counting.defaults import LEAST_RATE_SD
from breeder.core.stock.growth.capacity import animals_after, best_standing_stock, months_to_reach
from breeder.core.stock.growth.growth_rate import Growth, GrowthCount, default_growth, fitted_growth, life_table_growth
from breeder.core.stock.growth.stage_matrix import (
    VitalRates,
    growth_rate,
    project,
    stable_stages,
    stage_matrix,
    stay_and_leave,
    sustainable_share,
    sustainable_stage_share,
)
from breeder.core.stock.growth.surplus_date import chance_reached, surplus_forecast

TODAY = date(2026, 3, 1)
VITAL = VitalRates(25, 4, 4, 0.5, 0.5, 24)
STEADY = Growth(0.1116, 0.03, 5, "fitted")


def fit(seen: list[GrowthCount], capacity: float = math.inf) -> Growth:
    """Return the growth fitted to the counts alone, without a species' default."""
    fitted = fitted_growth(seen, None, capacity)
    assert fitted is not None
    return fitted


def day(months: float) -> date:
    return TODAY + timedelta(days=round(30.4375 * months))


def test_animals_leave_a_stage_of_fixed_length_at_its_end() -> None:
    stay, leave = stay_and_leave(0.9, 4)
    assert stay + leave == pytest.approx(0.9)
    assert stay_and_leave(0.9, 1) == pytest.approx((0.0, 0.9))
    assert stay_and_leave(1.0, 4) == (0.75, 0.25)


def test_a_settled_tub_follows_the_closed_form_of_beverton_and_holt() -> None:
    matrix = stage_matrix(VITAL)
    start = 60 * stable_stages(matrix)
    rate = math.log(growth_rate(matrix))
    assert project(matrix, start, 9, 400).sum() == pytest.approx(animals_after(60, rate, 9, 400))
    assert project(matrix, start, 9).sum() == pytest.approx(60 * math.exp(9 * rate))


def test_a_tub_never_outgrows_its_room() -> None:
    assert project(stage_matrix(VITAL), np.array([0.0, 20.0]), 120, 400).sum() == pytest.approx(400)


def test_a_shrinking_tub_is_not_crowded() -> None:
    matrix = np.array([[0.1, 0.1], [0.1, 0.5]])
    assert project(matrix, np.array([10.0, 10.0]), 3, 5) == pytest.approx(project(matrix, np.array([10.0, 10.0]), 3))


def test_what_may_be_taken_each_step_leaves_the_tub_as_it_was() -> None:
    matrix = stage_matrix(VITAL)
    kept = (1 - sustainable_share(matrix)) * project(matrix, stable_stages(matrix), 1)
    assert kept == pytest.approx(stable_stages(matrix))
    assert sustainable_share(np.array([[0.1, 0.1], [0.1, 0.5]])) == 0


def test_the_best_standing_stock_yields_more_than_its_neighbors() -> None:
    stock, most = best_standing_stock(400, math.log(1.25))

    def gain(n: float) -> float:
        return animals_after(n, math.log(1.25), 1, 400) - n

    assert most == pytest.approx(gain(stock))
    assert gain(stock) > max(gain(stock - 5), gain(stock + 5))


def test_a_number_beyond_the_room_is_never_reached() -> None:
    assert months_to_reach(60, 400, 0.2, 400) is None
    assert months_to_reach(60, 50, 0.2, 400) == 0
    assert months_to_reach(60, 90, -0.1) is None
    when = months_to_reach(60, 300, 0.2, 400)
    assert when is not None
    assert animals_after(60, 0.2, when, 400) == pytest.approx(300)


def test_growth_is_fitted_with_the_harvest_added_back() -> None:
    # The tub grows by 10 % a month; 30 are taken before each of the later counts.
    numbers = [100.0]
    for _ in range(4):
        numbers.append(numbers[-1] * 1.1 - 30)
    seen = [GrowthCount(day(i), n, 0.1, 0 if not i else 30) for i, n in enumerate(numbers)]
    fitted = fit(seen)
    assert fitted.rate == pytest.approx(math.log(1.1), rel=0.02)
    assert "5 counts" in fitted.mark
    assert fit([GrowthCount(s.on, s.estimate, s.log_sd) for s in seen]).rate < 0


def test_crowding_is_taken_out_of_the_fit() -> None:
    seen = [GrowthCount(day(m), animals_after(60, 0.25, m, 400), 0.1) for m in (0, 3, 6, 9)]
    assert fit(seen, 400).rate == pytest.approx(0.25, rel=0.02)
    assert fit(seen).rate < 0.2


def test_precise_counts_weigh_more() -> None:
    seen = [GrowthCount(day(0), 100, 0.05), GrowthCount(day(2), 120, 0.05), GrowthCount(day(4), 400, 1.0)]
    assert fit(seen).rate < math.log(1.2) / 2 * 1.3


def test_the_doubt_of_a_fit_holds_its_counts_errors_and_the_luck_between_them() -> None:
    # A straight line through the counts by textbook least squares, with the luck of a random walk (0.02 a month).
    seen = [GrowthCount(day(m), 100 * math.exp(0.1 * m), sd) for m, sd in ((0, 0.3), (2, 0.1), (4, 0.0), (9, 0.2))]
    months = np.array([(s.on - TODAY).days / 30.4375 for s in seen])
    errors = np.diag([0.3**2, 0.1**2, 0.02**2, 0.2**2]) + 0.02 * np.minimum.outer(months, months)
    line = np.column_stack([np.ones(4), months])
    doubt = np.linalg.inv(line.T @ np.linalg.inv(errors) @ line)
    assert fit(seen).sd == pytest.approx(math.sqrt(doubt[1, 1]))
    assert fit(seen).rate == pytest.approx(0.1, rel=0.01)


def test_an_error_that_all_counts_share_is_gone_from_the_rises_between_them() -> None:
    def counts(*ways: str) -> list[GrowthCount]:
        made = zip((0, 2, 4), ways, strict=True)
        return [GrowthCount(day(m), 100 * 1.1**m, math.hypot(0.1, 0.5), shared_sd=0.5, way=way) for m, way in made]

    alone = fit([GrowthCount(s.on, s.estimate, 0.1) for s in counts("a", "a", "a")])
    assert fit(counts("eye", "eye", "eye")).sd == pytest.approx(alone.sd)
    assert fit(counts("eye", "portions", "hand")).sd > 2 * alone.sd


def test_counts_farther_apart_than_their_errors_are_doubted_more() -> None:
    steady = [GrowthCount(day(m), 100, 0.1) for m in (0, 2, 4, 6)]
    wild = [GrowthCount(day(m), n, 0.1) for m, n in ((0, 100), (2, 400), (4, 50), (6, 100))]
    assert fit(wild).sd > 3 * fit(steady).sd


def test_a_slope_and_the_species_default_weigh_by_their_precision() -> None:
    seen = [GrowthCount(day(m), n, 0.3) for m, n in ((0, 100), (1.5, 80), (3, 90))]
    alone, both = fit(seen), fitted_growth(seen, STEADY)
    assert both is not None
    weights = [alone.sd**-2, STEADY.sd**-2]
    assert both.rate == pytest.approx((alone.rate * weights[0] + STEADY.rate * weights[1]) / sum(weights))
    assert both.sd == pytest.approx(sum(weights) ** -0.5)
    assert "3 counts of this tub, weighed with the usual growth" in both.mark
    assert alone.rate < 0 < both.rate


def test_a_default_near_no_growth_is_in_doubt_too() -> None:
    assert life_table_growth(1.0, 245, "").sd == LEAST_RATE_SD == 0.02  # common practice, no source


def test_too_few_or_too_hasty_counts_leave_the_species_default() -> None:
    default = default_growth(VITAL)
    assert "no source" in default.mark
    assert default.rate == pytest.approx(math.log(growth_rate(stage_matrix(VITAL))))
    assert default.sd == pytest.approx(default.rate / 2)
    assert fitted_growth([GrowthCount(day(0), 9, 0.1), GrowthCount(day(4), 20, 0.1)], default) is default
    assert fitted_growth([GrowthCount(day(m), 9, 0.1) for m in (0, 0.5, 1.5)], default) is default
    assert fitted_growth([GrowthCount(day(m), 9, 0.1) for m in (0, 1, 2.1)], default) is not default
    assert fitted_growth([GrowthCount(day(0), 9, 0.1), GrowthCount(day(4), 20, 0.1)], None) is None


def test_room_for_a_million_is_as_good_as_no_limit() -> None:
    free = chance_reached(5, 150, 0.2, STEADY, 250)
    assert chance_reached(5, 150, 0.2, STEADY, 250, 1e7) == pytest.approx(free, abs=1e-4)
    assert chance_reached(5, 150, 0.2, STEADY, 250, 400) < free - 0.1


def test_the_forecast_gives_the_median_and_the_80_percent_day() -> None:
    forecast = surplus_forecast(TODAY, 150, 0.2, STEADY, 150, 100)
    assert forecast.median_on is not None
    assert forecast.sure_on is not None
    # 4.58 and 8.54 months (computed, no outside source).
    assert (forecast.median_on - TODAY).days == math.ceil(4.5773 * 30.4375)
    assert (forecast.sure_on - TODAY).days == math.ceil(8.5432 * 30.4375)
    assert "counted, not before" in forecast.notes[-1]


def test_a_surplus_already_there_is_there_today_and_one_beyond_the_room_never() -> None:
    assert surplus_forecast(TODAY, 500, 0.1, STEADY, 150, 100).median_on == TODAY
    full = surplus_forecast(TODAY, 150, 0.2, STEADY, 150, 100, capacity=250)
    assert (full.median_on, full.sure_on) == (None, None)
    assert "Split a tub" in full.notes[0]
    assert surplus_forecast(TODAY, 0, 0.0, STEADY, 1, 0).median_on is None


def test_growth_too_much_in_doubt_names_no_80_percent_day() -> None:
    forecast = surplus_forecast(TODAY, 150, 0.2, Growth(0.05, 0.2, 3, "fitted"), 150, 100)
    assert forecast.median_on is not None
    assert forecast.sure_on is None
    shrinking = surplus_forecast(TODAY, 150, 0.2, Growth(-0.05, 0.01, 3, "fitted"), 150, 100)
    assert shrinking.median_on is None
    assert "not likely within 5 years" in shrinking.notes[1]


@pytest.mark.parametrize(("months", "is_named"), [(59, True), (61, False)])
def test_a_day_is_named_within_five_years_and_not_beyond(months: int, is_named: bool) -> None:
    doubling_a_year = Growth(math.log(2) / 12, 0.0, 3, "fitted")
    wanted = math.floor(100 * 2 ** (months / 12))
    forecast = surplus_forecast(TODAY, 100, 0.0, doubling_a_year, wanted, 0)
    assert (forecast.median_on is not None) is is_named
    assert ("not likely within 5 years" in " ".join(forecast.notes)) is not is_named


def test_a_stage_alone_is_spared_so_that_the_tub_neither_grows_nor_falls() -> None:
    matrix = stage_matrix(VITAL)
    for stage in (0, 1):
        taken = matrix.copy()
        taken[stage] *= 1 - sustainable_stage_share(matrix, stage)
        assert growth_rate(taken) == pytest.approx(1)
    assert sustainable_share(matrix) < sustainable_stage_share(matrix, 1) < sustainable_stage_share(matrix, 0)


def test_nothing_is_spared_of_a_tub_that_falls_and_all_of_a_stage_that_is_not_needed() -> None:
    falling = np.array([[0.5, 0.2], [0.3, 0.5]])
    assert sustainable_stage_share(falling, 0) == sustainable_stage_share(falling, 1) == 0
    assert sustainable_stage_share(np.array([[1.2, 0.0], [0.4, 0.5]]), 1) == 1
