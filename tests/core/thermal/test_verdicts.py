"""Test members, odds and verdicts."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from breeder.core.thermal.ensemble_draws import draws
from breeder.core.thermal.evaluate_kit import AmbientCase, KitOffer, best_offer, try_kit
from breeder.core.thermal.forecast_error import correlation, error_c, high_sd_c, high_share, low_sd_c, season_name
from breeder.core.thermal.kit import HeatPack, Payload, ShippingBox, ThermalKit, WallLayer
from breeder.core.thermal.reckon import check
from breeder.core.thermal.verdict import EASY, GO, NO_GO, NOT_DECIDED, Limits, Odds, Tolerance, decide, strain

LIMITS = Limits(7, 29, 4, 0, 36)
USUAL = Tolerance()
BARE = ThermalKit(ShippingBox((0.25, 0.20, 0.15), (WallLayer("corrugated", 4),)), Payload(0.45, cups=8))
FOAM = ThermalKit(
    ShippingBox((0.25, 0.20, 0.15), (WallLayer("eps", 19), WallLayer("corrugated", 4))), Payload(0.45, cups=8)
)
WARM = ThermalKit(FOAM.box, FOAM.payload, packs=(HeatPack(72, 125),))


def tried(
    kit: ThermalKit,
    weather: np.ndarray,
    *,
    spread: float = 0.0,
    members: int = 60,
    weight: float = 1.0,
    tolerance: Tolerance = USUAL,
) -> object:
    drawn = draws(5, members)
    hour = np.arange(len(weather))
    sd = np.full(len(weather), spread)
    ambient = weather[:, None] + error_c(drawn, hour=hour, local_hour=hour % 24.0, sd=sd)
    return try_kit(kit, [AmbientCase("on time", weight, ambient.T)], LIMITS, tolerance, start_c=21, draws=drawn)


def steady(celsius: float, hours: int = 48) -> np.ndarray:
    return np.full(hours + 1, float(celsius))


def test_mild_hours_are_go_and_frost_and_heat_are_not() -> None:
    assert tried(BARE, steady(18)).verdict == GO
    assert tried(BARE, steady(-4)).verdict == NO_GO
    assert tried(BARE, steady(38)).verdict == NO_GO


def test_in_heat_a_heat_pack_only_makes_it_worse() -> None:
    bare, warm = tried(FOAM, steady(28)), tried(WARM, steady(28))
    assert warm.too_warm >= bare.too_warm
    assert warm.verdict == NO_GO


@settings(max_examples=8, deadline=None)
@given(st.floats(20, 33), st.floats(2, 9), st.floats(0, 3))
def test_in_july_a_heat_pack_is_never_the_advice(middle_c: float, swing_k: float, spread: float) -> None:
    """On warm days and nights a box without a pack does better than one with it, and is cheaper."""
    july = middle_c + swing_k * np.cos(2 * np.pi * (np.arange(49) - 15) / 24)
    offers = [
        KitOffer(name, cost, tried(kit, july, spread=spread))
        for name, cost, kit in (("bare", 1.0, BARE), ("foam", 2.6, FOAM), ("warm", 4.1, WARM))
    ]
    best = best_offer(offers, Tolerance())
    assert best is None or best.name != "warm"
    assert offers[2].outcome.hard.failed >= offers[1].outcome.hard.failed


def test_in_cold_a_heat_pack_helps() -> None:
    bare, warm = tried(FOAM, steady(5.5)), tried(WARM, steady(5.5))
    assert bare.verdict == NO_GO
    assert warm.verdict == GO
    assert warm.too_cold < bare.too_cold


@settings(max_examples=20, deadline=None)
@given(st.floats(0, 5), st.floats(0.1, 5), st.sampled_from([9.0, 18.0, 26.0]))
def test_more_spread_never_lowers_the_odds_of_harm(spread: float, more: float, celsius: float) -> None:
    """The weather is within limits and the draws are scaled around it, so each member only moves further out."""
    calm, wild = (tried(BARE, steady(celsius), spread=sd).hard.failed for sd in (spread, spread + more))
    assert wild >= calm


def test_the_same_draws_give_the_same_odds_to_the_digit() -> None:
    first, second = (tried(FOAM, steady(6), spread=3.0) for _ in range(2))
    assert first == second


def test_a_screening_uses_the_first_members_of_the_same_set() -> None:
    few, many = draws(9, 50), draws(9, 200)
    assert np.array_equal(few.lows, many.first(50).lows)
    assert np.array_equal(few.tail, many.tail[:50])
    assert np.array_equal(few.leak, many.leak[:50])


def test_a_missing_hour_is_unknown_unless_the_member_has_failed_before() -> None:
    gap = steady(18)
    gap[30] = np.nan
    lost = tried(BARE, gap)
    assert (lost.verdict, lost.comfort.failed, lost.comfort.failed_or_unknown) == (NOT_DECIDED, 0.0, 1.0)
    assert lost.missing_hours == (30.0,)
    cold = steady(-8)
    cold[30] = np.nan
    assert tried(BARE, cold).verdict == NO_GO


@pytest.mark.parametrize(
    ("comfort", "hard", "verdict"),
    [
        ((0.20, 0.20), (0.05, 0.05), GO),
        ((0.21, 0.21), (0.0, 0.0), NO_GO),
        ((0.0, 0.0), (0.06, 0.06), NO_GO),
        ((0.10, 0.25), (0.0, 0.0), NOT_DECIDED),
        ((0.10, 0.15), (0.0, 0.06), NOT_DECIDED),
        ((0.21, 1.0), (0.0, 1.0), NO_GO),
    ],
)
def test_the_rule_of_two_tolerances(comfort: tuple[float, float], hard: tuple[float, float], verdict: str) -> None:
    assert decide(Odds(*comfort, 0.0), Odds(*hard, 0.0), Tolerance()) == verdict


def test_the_cheapest_easy_kit_wins_and_ties_go_to_the_calmer() -> None:
    mild = steady(15)
    bare, foam = tried(BARE, mild, spread=1), tried(FOAM, mild, spread=1)
    assert best_offer([KitOffer("foam", 2.6, foam), KitOffer("bare", 1.1, bare)], Tolerance()).name == "bare"
    calmer = min(
        (("bare", bare), ("foam", foam)),
        key=lambda pair: pair[1].warmest.quantiles_c[-1] - pair[1].coldest.quantiles_c[0],
    )
    assert best_offer([KitOffer("foam", 1.1, foam), KitOffer("bare", 1.1, bare)], Tolerance()).name == calmer[0]
    assert best_offer([KitOffer("bare", 1.1, tried(BARE, steady(-9)))], Tolerance()) is None


def test_where_no_kit_goes_easily_the_one_that_strains_least_is_taken_whatever_it_costs() -> None:
    cold = steady(6.9)
    all_of_it = Tolerance(comfort=1.0, hard=0.05)
    bare, foam = (tried(kit, cold, spread=0.4, tolerance=all_of_it) for kit in (BARE, FOAM))
    strains = {name: strain(each.comfort, each.hard, all_of_it) for name, each in (("bare", bare), ("foam", foam))}
    assert EASY < strains["foam"] < strains["bare"] <= 1
    assert best_offer([KitOffer("foam", 9.0, foam), KitOffer("bare", 1.1, bare)], all_of_it).name == "foam"


@pytest.mark.parametrize(
    ("comfort", "hard", "used"), [(0.0, 0.0, 0.0), (0.10, 0.01, 0.5), (0.02, 0.05, 1.0), (0.3, 0.0, 1.5)]
)
def test_strain_is_the_part_of_a_tolerance_that_is_used_up(comfort: float, hard: float, used: float) -> None:
    assert strain(Odds(0.0, comfort, 0.0), Odds(0.0, hard, 0.0), Tolerance()) == pytest.approx(used)


def test_where_nothing_is_allowed_anything_is_too_much() -> None:
    none = Tolerance(0.0, 0.0)
    assert strain(Odds(0, 0, 0), Odds(0, 0, 0), none) == 0
    assert strain(Odds(0, 0.01, 0), Odds(0, 0, 0), none) == np.inf


def test_odds_carry_their_standard_error() -> None:
    """Binomial: p = 0.05 of 200 members is known to 0.015."""
    outcome = tried(FOAM, steady(6.9), spread=1.5, members=200)
    share = outcome.comfort.failed
    assert 0 < share < 1
    assert outcome.comfort.standard_error == pytest.approx((share * (1 - share) / 200) ** 0.5, rel=0.02)


def test_forecast_errors_grow_as_measured() -> None:
    """57 US cities, 2014 to 2017 (ASA Data Expo 2018), around the mean error: computed for this project."""
    afternoon = 9 / 24
    assert high_sd_c(np.arange(6) + afternoon) == pytest.approx([1.91, 2.11, 2.34, 2.60, 2.90, 3.27])
    assert low_sd_c(np.arange(1, 6)) == pytest.approx([2.19, 2.28, 2.42, 2.59, 2.81])
    assert high_sd_c(30) == low_sd_c(30) == 4.5
    assert low_sd_c(2, "winter") > low_sd_c(2) > low_sd_c(2, "summer")
    assert (season_name(1, 40.0), season_name(1, -40.0)) == ("winter", "summer")
    assert correlation(0) == 1
    assert correlation(1500) < 0.05


def drawn_errors(place: int = 0, together: float = 0.0) -> np.ndarray:
    hour, drawn = np.arange(120), draws(8, 6000)
    sd = np.where(high_share(hour) > 0.5, 3.0, 2.0)
    return error_c(drawn, hour=hour, local_hour=hour % 24.0, sd=sd, place=place, together=together)


def test_errors_of_lows_and_highs_go_together_as_measured() -> None:
    """The same cities: highs of adjacent days 0.25-0.41, lows 0.26-0.40, low and high of one day 0.06-0.26."""
    error = drawn_errors()
    low, high, next_low, next_high = (error[hour] for hour in (30, 39, 54, 63))

    def of(a: np.ndarray, b: np.ndarray) -> float:
        return float(np.corrcoef(a, b)[0, 1])

    assert np.std(high) == pytest.approx(3.0, rel=0.05)
    assert np.std(low) == pytest.approx(2.0, rel=0.05)
    assert 0.25 < of(high, next_high) < 0.41
    assert 0.24 < of(low, next_low) < 0.40
    assert 0.06 < of(low, high) < 0.26
    assert 0.06 < of(high, next_low) < 0.29
    elsewhere = drawn_errors(place=1, together=0.5)
    assert of(high, elsewhere[39]) == pytest.approx(0.5, abs=0.05)


def test_errors_have_the_tails_of_student_t_with_seven_degrees() -> None:
    """Its kurtosis is 5, so 0.9 % of errors lie beyond three standard deviations (a normal law has 0.27 %)."""
    error = drawn_errors()[[15, 39, 63, 87]] / 3.0
    assert np.mean(np.abs(error) > 3) == pytest.approx(0.0093, abs=0.003)


def test_the_night_belongs_to_the_coming_low_and_the_afternoon_to_the_high() -> None:
    assert high_share([15.0, 14.0]).min() > 0.9
    assert high_share([4.0, 6.0]).max() < 0.15
    assert high_share(np.arange(24.0)).min() >= 0
    assert high_share(np.arange(24.0)).max() <= 1


def test_members_have_the_spread_that_was_asked_for() -> None:
    drawn = draws(3, 2000)
    assert np.std(np.log(drawn.leak_factor())) == pytest.approx(0.20, rel=0.03)
    assert np.median(drawn.leak_factor()) == pytest.approx(1.15, rel=0.03)
    assert np.std(drawn.start_offset_k()) == pytest.approx(2.0, rel=0.05)
    gain = drawn.van_gain()
    assert (gain.min(), gain.max()) == (0.003, 0.020)


def document(members: list[list[float | None]]) -> dict[str, object]:
    hours = list(range(len(members[0])))
    return {
        "kit": {
            "box": {"inner_m": [0.25, 0.2, 0.15], "layers": [{"material": "corrugated", "mm": 4}]},
            "payload": {"kg": 0.45},
        },
        "start_c": 21,
        "limits": {"low_c": 7, "high_c": 29, "hours_allowed": 4, "hard_low_c": 0, "hard_high_c": 36},
        "tolerance": {"comfort": 0.20, "hard": 0.05},
        "cases": [{"name": "on time", "weight": 1.0, "hours": hours, "members_c": members}],
    }


def test_reckon_check_answers_to_the_contract() -> None:
    mild, cold = [18.0] * 25, [-9.0] * 25
    assert check(document([mild] * 4))["verdict"] == "go"
    answer = check(document([mild, mild, mild, cold]))
    assert answer["verdict"] == "no-go"
    assert answer["comfort"]["failed"] == 0.25
    assert answer["contract"] == 1
    lost = check(document([mild, [*mild[:20], None, *mild[21:]]]))
    assert (lost["verdict"], lost["missing_hours"]) == ("not decided", lost["missing_hours"])
    assert lost["comfort"]["failed_or_unknown"] == 0.5
