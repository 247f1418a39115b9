"""The keeper's defaults at their edges: where each one begins to matter.

Common practice, no source, unless the constant itself names one.
"""

import math
from collections.abc import Callable
from datetime import date, timedelta

import pytest
from scipy import stats

from breeder.core.counting import defaults
from breeder.core.counting.count_priorities import LineDoubt, TubDoubt, lines_in_danger, next_counts
from breeder.core.counting.errors import BadCount
from breeder.core.counting.methods.closed_forms import first_pass_chi_square
from breeder.core.counting.methods.direct import hand, weight
from breeder.core.counting.methods.mark_recapture import marked
from breeder.core.counting.methods.removal import CHI_SQUARE_95, removal
from breeder.core.counting.methods.subsample import portions
from breeder.core.counting.methods.visual import eye, piece
from breeder.core.counting.observer_bias import GuessPair, shared_error
from breeder.core.counting.quantiles import normal_quantile, whole_above, whole_below
from breeder.core.stock.growth.growth_rate import Growth, GrowthCount, default_growth, fitted_growth, life_table_growth
from breeder.core.stock.growth.stage_matrix import VitalRates, stage_matrix

TODAY = date(2026, 3, 1)


def test_a_month_is_a_twelfth_of_a_year_of_365_25_days() -> None:
    assert defaults.DAYS_PER_MONTH == 365.25 / 12


def test_the_stored_bound_is_the_95_percent_one() -> None:
    assert normal_quantile(defaults.STORED_CONFIDENCE) == pytest.approx(1.645, abs=0.0005)
    assert defaults.CONFIDENCE == 0.95


def test_under_five_portions_one_more_is_advised() -> None:
    assert any("Only 4" in note for note in portions([3, 5, 4, 6], [1] * 4, 80).notes)
    assert portions([3, 5, 4, 6, 2], [1] * 5, 80).notes == ()


def test_under_seven_recaptures_are_few() -> None:
    assert len(marked(60, 80, 6).notes) == 2
    assert len(marked(60, 80, 7).notes) == 1


def test_the_best_eye_is_as_sure_as_a_full_sort() -> None:
    pairs = [GuessPair(0.1, 0.04)] * 1000
    assert shared_error(pairs, "eye").sd == pytest.approx(0.02, rel=0.01)


def test_an_exact_count_weighs_as_a_full_sort_in_a_fit() -> None:
    exact, sorted_fully = (
        fitted_growth([GrowthCount(TODAY + timedelta(days=61 * n), 50 * 1.2**n, log_sd) for n in (0, 1, 2)], None)
        for log_sd in (0.0, 0.02)
    )
    assert exact == sorted_fully


def test_a_default_rate_is_based_on_no_count() -> None:
    assert default_growth(VitalRates(25, 4, 4, 0.5, 0.5, 24)).counts == life_table_growth(7.59, 245, "").counts == 0


def test_a_line_is_in_danger_from_one_in_twenty_on() -> None:
    def line(chance: float) -> LineDoubt:
        return LineDoubt("line", (TubDoubt(1, 20 * math.exp(-0.4 * normal_quantile(chance)), 10, 0.4),), 20)

    assert lines_in_danger([line(0.052)])
    assert not lines_in_danger([line(0.048)])


def test_a_tub_counted_over_its_room_is_fitted_as_95_percent_full() -> None:
    def slope(last: float, room: float = 100) -> float:
        counts = ((0, 50), (1, 90), (2, last))
        fitted = fitted_growth(
            [GrowthCount(TODAY + timedelta(days=61 * n), held, 0.1) for n, held in counts], None, room
        )
        assert fitted is not None
        return fitted.rate

    # Along ln(N / (1 − N/K)) a tub that is 95 % full or fuller moves on as ln N alone, and weighs little.
    assert slope(95.001) - slope(94.999) == pytest.approx(0, abs=1e-3)
    assert 0 < slope(400) - slope(96) < 0.3 * math.log(400 / 96) * 30.4375 / 61


def test_counts_over_less_than_two_months_do_not_show_growth() -> None:
    otherwise = Growth(0.1, 0.05, 0, "")
    for days, is_fitted in ((60, False), (61, True)):
        seen = [GrowthCount(TODAY + timedelta(days=n), 50, 0.1) for n in (0, 30, days)]
        assert (fitted_growth(seen, otherwise) is not otherwise) is is_fitted


def test_typing_slips_are_refused_just_beyond_each_limit() -> None:
    assert hand(10**6).estimate == 10**6
    assert weight(1, 1e-6, 1e-6).estimate == 1
    assert weight(1, 1e9, 1e9).estimate == 1
    assert piece(1, 10_000).estimate == 10_000
    assert eye(10, 20, shared_sd=3.0, confidence=0.999).lower is not None
    slips: list[Callable[[], object]] = [
        lambda: hand(10**6 + 1),
        lambda: piece(1, 10_000.5),
        lambda: weight(1, 0.99e-6, 1),
        lambda: weight(1, 1, 1.01e9),
        lambda: eye(10, 20, shared_sd=3.01),
        lambda: eye(10, 20, confidence=0.9991),
    ]
    for slip in slips:
        with pytest.raises(BadCount):
            slip()


def test_dangers_rank_by_twentieths_and_then_by_animals_unsold() -> None:
    def line(name: str, chance: float, likely: float) -> LineDoubt:
        return LineDoubt(
            name, (TubDoubt(name, likely, 10, 0.4),), round(likely * math.exp(0.4 * normal_quantile(chance))), sold=True
        )

    # Both are in the grade from 20 to 25 %: the line with more unsold comes first, although its danger is smaller.
    assert [tub.ref for tub in next_counts([line("few", 0.245, 4000), line("many", 0.205, 8000)])] == ["many", "few"]
    # 19.5 and 20.5 % are in two grades.
    assert [tub.ref for tub in next_counts([line("low", 0.195, 8000), line("high", 0.205, 4000)])] == ["high", "low"]


def test_whole_animals_forgive_binary_fractions_and_nothing_more() -> None:
    assert (whole_below(119.99999999999999), whole_below(119.9999), whole_below(-0.5)) == (120, 119, -1)
    assert (whole_above(12.000000000000002), whole_above(12.0001), whole_above(0.0)) == (12, 13, 0)


def test_broods_a_year_are_spread_over_twelve_months() -> None:
    assert stage_matrix(VitalRates(24, 3, 4, 0.5, 0.5, 24))[0, 1] == pytest.approx(24 * 3 / 12 * 0.5)


def test_a_first_pass_is_set_apart_from_three_passes_and_chi_square_3_841_on() -> None:
    assert pytest.approx(stats.chi2.ppf(0.95, 1), abs=0.0005) == CHI_SQUARE_95
    assert any("shy" in note for note in removal((60, 5, 20)).notes) is (first_pass_chi_square((60, 5, 20)) > 3.8415)
    assert first_pass_chi_square((60, 5, 20)) > 3.8415  # three passes are enough to compare
    assert removal((60, 5)).notes == ()


def test_a_tub_is_at_most_ten_thousand_pieces_of_bark() -> None:
    assert piece(3, 10_000).estimate == 30_000
    with pytest.raises(BadCount, match="10001"):
        piece(3, 10_001)


def test_the_first_of_three_passes_is_compared_with_the_rest_and_of_two_it_is_not() -> None:
    assert any("The first pass caught another share" in note for note in removal([100, 10, 9]).notes)
    assert first_pass_chi_square([9000, 900]) > CHI_SQUARE_95
    assert removal([9000, 900]).notes == ()
