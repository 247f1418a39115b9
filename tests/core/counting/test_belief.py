"""The belief about a tub, X + moved: counts join, replace and age it, exact to the animal."""

import json
import math
from datetime import UTC, date, datetime, timedelta

import pytest
from scipy import stats

from breeder.core.counting.methods.direct import after_sale, hand
from breeder.core.counting.methods.mark_recapture import marked
from breeder.core.counting.methods.removal import removal
from breeder.core.counting.methods.subsample import portions
from breeder.core.counting.methods.visual import eye, index
from breeder.core.stock.belief import StockBelief, aged, is_stale, lower
from breeder.core.stock.events import Ageing, ApproximateChange, CountEvent, ExactChange, count_event
from breeder.core.stock.merge_split import merged, split, tip_events, tip_in
from breeder.core.stock.replay import replay
from breeder.core.stock.serialize import as_json, from_json
from breeder.core.stock.update import fuse
from tests.core.counting import controls

AGEING = Ageing()
START = date(2026, 1, 10)
Z = float(stats.norm.ppf(0.95))
EYE = count_event(START, eye(100, 250, shared_sd=0.35))


def day(days: int) -> date:
    return START + timedelta(days=days)


def believed(*events: object, stage: str = "adults") -> StockBelief:
    belief = replay(events, AGEING, stage)  # type: ignore[arg-type]
    assert belief is not None
    return belief


def safe(belief: StockBelief, days: int, confidence: float = 0.95, stage: str = "adults") -> int:
    return lower(belief, day(days), confidence, AGEING, stage)


def test_the_tub_page_and_the_method_agree_on_the_bound() -> None:
    for count in (eye(100, 250, shared_sd=0.35), portions([9, 14, 6], [1] * 3, 80), hand(120, 0.05)):
        assert count.lower is not None
        assert safe(believed(count_event(START, count)), 0) == math.floor(count.lower + 1e-9)


@pytest.mark.parametrize("level", [0.5, 0.8, 0.9, 0.95, 0.99])
@pytest.mark.parametrize("shared", [0.0, 0.1, 0.35])
def test_a_first_count_is_as_sure_as_its_own_method_says_at_any_confidence(level: float, shared: float) -> None:
    """Three portions at 99 % gave 115 by the method, but 222 by a normal through the 95 % bound (issue)."""
    for method, given in (
        (eye, (50, 100)),
        (hand, (120, 0.05)),
        (portions, ([9, 14, 6], [50] * 3, 4000)),
        (index, (27, 18, 60)),
        (marked, (421, 332, 88)),
        (removal, ([38, 26, 12],)),
    ):
        count = method(*given, confidence=level, shared_sd=shared)
        assert count.lower is not None
        usual = count_event(START, method(*given, shared_sd=shared))
        assert safe(believed(usual), 0, level) == math.floor(min(count.lower, count.estimate) + 1e-6)


def test_ageing_adds_to_the_methods_own_reach() -> None:
    """√(r² + z²·w·months) with r = ln(estimate / lower) of the method at that confidence."""
    belief = believed(count_event(START, portions([9, 14, 6], [50] * 3, 4000, shared_sd=0.1)))
    months = 60 / 30.4375
    for level in (0.8, 0.99):
        count = portions([9, 14, 6], [50] * 3, 4000, shared_sd=0.1, confidence=level)
        reach, z = math.log(count.estimate / count.lower), stats.norm.ppf(level)  # type: ignore[operator]
        reach = math.sqrt(reach**2 + z**2 * 0.02 * months)
        assert safe(belief, 60, level) == math.floor(count.estimate * math.exp(-months / 24 - reach))  # type: ignore[operator]


def test_a_joined_count_reaches_as_far_as_the_input_that_widens_most() -> None:
    """Decided at 95 %: middle and spread. At 99 %: the 95 % reach times the greater of both inputs' r₉₉ / r₉₅."""
    first, second = (portions(counts, [50] * 3, 4000, shared_sd=0.1) for counts in ([9, 14, 6], [12, 9, 11]))
    belief = believed(count_event(START, first), count_event(START, second))
    assert belief.used is not None
    assert belief.used.rule == "fused"
    ratios = []
    for counts in ([9, 14, 6], [12, 9, 11]):
        reach = [
            math.log(count.estimate / count.lower)  # type: ignore[operator]
            for count in (portions(counts, [50] * 3, 4000, shared_sd=0.1, confidence=level) for level in (0.95, 0.99))
        ]
        ratios.append(reach[1] / reach[0])
    reach = Z * belief.log_sd * max(ratios)
    assert max(ratios) > 1.5
    assert safe(belief, 0, 0.95) == math.floor(belief.middle * math.exp(-Z * belief.log_sd))
    assert safe(belief, 0, 0.99) == max(math.floor(belief.middle * math.exp(-reach)), 32)  # 32 were in the hand


def test_what_was_in_the_hand_ages_and_moves_with_the_rest() -> None:
    count = CountEvent(START, 60.0, 1.0, floor=40.0)
    assert safe(believed(count), 0) == 40
    months = 30 / 30.4375
    worn = math.exp(-months / 24 - Z * math.sqrt(0.02 * months))
    assert safe(believed(count, ExactChange(day(2), -7, "packed")), 30) == math.floor(40 * worn) - 7
    young = Ageing(young_mature_months=8, young_survival=0.5)
    kept = replay([count], young, "young")
    assert kept is not None
    left = (0.5 ** (months / 8) - 0.5) / 0.5
    assert lower(kept, day(30), 0.95, young, "young") == math.floor(40 * left * math.exp(-Z * math.sqrt(0.02 * months)))
    assert lower(kept, day(30), 0.5, young, "young") == math.floor(60 * left)


def test_a_bound_that_is_not_kept_is_refused_above_and_safe_between() -> None:
    belief = replay([count_event(START, portions([9, 14, 6], [50] * 3, 4000))], AGEING)
    assert belief is not None
    assert lower(belief, START, 0.985, AGEING, "adults") == safe(belief, 0, 0.99)
    with pytest.raises(ValueError, match="highest is 0.99"):
        safe(belief, 0, 0.999)


def test_a_well_mixed_count_is_believed_about_as_the_exact_gamma_belief_has_it() -> None:
    """16 in a tenth of the tub, after about 120 with half as much doubt: log-normal against gamma, within a tenth."""
    mean, sd, fifth = controls.gamma_poisson((120, 0.5), [(16, 0.1)], ())
    prior = fuse(None, CountEvent(START, 120 / math.sqrt(1.25), math.sqrt(math.log(1.25))), AGEING, "young")
    belief = fuse(prior, CountEvent(START, 160, math.sqrt(math.log(1 + 1 / 16))), AGEING, "young")
    assert belief.middle * math.exp(belief.log_sd**2 / 2) == pytest.approx(mean, rel=0.1)
    assert belief.middle * math.exp(-Z * belief.log_sd) == pytest.approx(fifth, rel=0.1)
    assert belief.log_sd == pytest.approx(sd / mean, rel=0.1)


def test_the_bound_ages_by_the_formula() -> None:
    months = 50 / 30.4375
    middle = math.sqrt(25000) * math.exp(-months / 24)
    log_sd = math.sqrt((math.log(2.5) / 3.29) ** 2 + 0.35**2 + 0.02 * months)
    now = aged(believed(EYE), day(50), AGEING, "adults")
    assert (now.middle, now.log_sd) == (pytest.approx(middle), pytest.approx(log_sd))
    assert safe(believed(EYE), 50) == math.floor(middle * math.exp(-Z * log_sd)) == 66
    assert safe(believed(EYE), 50, 0.80) == math.floor(middle * math.exp(-stats.norm.ppf(0.8) * log_sd))


def test_young_widen_but_do_not_die_of_age() -> None:
    now = aged(believed(EYE, stage="young"), day(90), AGEING, "young")
    assert now.middle == pytest.approx(math.sqrt(25000))
    assert now.log_sd > EYE.log_sd


def test_ageing_in_two_steps_is_ageing_in_one() -> None:
    once = aged(believed(EYE), day(90), AGEING, "adults")
    twice = aged(aged(believed(EYE), day(40), AGEING, "adults"), day(90), AGEING, "adults")
    assert (once.middle, once.log_sd) == (pytest.approx(twice.middle), pytest.approx(twice.log_sd))


def test_the_hour_of_the_day_changes_nothing() -> None:
    at = datetime(2026, 1, 10, 9, tzinfo=UTC)
    belief = replay([CountEvent(at, 158.0, 0.45, 0.35)], AGEING, "adults")
    assert belief is not None
    assert lower(belief, at, 0.95, AGEING, "adults") == lower(belief, at.replace(hour=23), 0.95, AGEING, "adults")


def test_changes_touch_only_moved() -> None:
    belief = believed(EYE, ExactChange(day(5), -12, "packed"), ExactChange(day(9), 3, "returned"))
    assert belief.sources == believed(EYE).sources
    assert (belief.moved, belief.taken) == (-9, 9)
    assert safe(belief, 30) == safe(believed(EYE), 30) - 9


def test_deaths_and_moves_are_not_taken_for_people() -> None:
    belief = believed(
        EYE, ExactChange(day(1), -5, "died"), ExactChange(day(2), -7, "moved"), ExactChange(day(3), -2, "culled")
    )
    assert (belief.moved, belief.taken) == (-14, 2)


def test_the_bound_is_never_below_none() -> None:
    assert safe(believed(EYE, ExactChange(day(1), -500, "packed")), 2) == 0


def test_a_count_folds_moved_in() -> None:
    belief = believed(EYE, ExactChange(day(5), -12, "packed"), count_event(day(30), eye(100, 250, shared_sd=0.35)))
    assert (belief.moved, belief.taken, belief.counted_on) == (0, 0, day(30))
    assert belief.used is not None
    months = 30 / 30.4375
    assert belief.used.prior_middle == pytest.approx(math.sqrt(25000) * math.exp(-months / 24) - 12)


def test_two_counts_join_by_their_precision() -> None:
    first, second = CountEvent(START, 100.0, 0.30), CountEvent(START, 140.0, 0.15)
    belief = believed(first, second)
    gain = 0.09 / (0.09 + 0.0225)
    assert belief.middle == pytest.approx(100 * math.exp(gain * math.log(1.4)))
    assert belief.log_sd == pytest.approx(math.sqrt(0.09 * 0.0225 / (0.09 + 0.0225)))
    assert belief.used is not None
    assert (belief.used.rule, belief.used.gain) == ("fused", pytest.approx(gain))


def test_counting_by_eye_again_and_again_never_falls_under_the_shared_error() -> None:
    guesses = [CountEvent(START, 158.0, math.hypot(0.2, 0.35), 0.35)] * 200
    assert believed(*guesses[:2]).log_sd == pytest.approx(math.sqrt(0.2**2 / 2 + 0.35**2))
    assert believed(*guesses).log_sd == pytest.approx(math.sqrt(0.2**2 / 200 + 0.35**2))


def test_the_better_method_alone_is_best_where_a_guess_would_only_add_its_shared_error() -> None:
    guess, scoops = CountEvent(START, 120.0, 0.45, 0.35), CountEvent(START, 100.0, 0.1, 0.1)
    belief = believed(guess, scoops)
    assert (belief.middle, belief.log_sd) == (pytest.approx(100), pytest.approx(0.1))


def test_the_weight_of_a_count_leaves_the_least_spread() -> None:
    first, second = CountEvent(START, 100.0, 0.45, 0.30), CountEvent(START, 110.0, 0.40, 0.35)
    own_variances = [count.log_sd**2 - count.shared_sd**2 for count in (first, second)]

    def spread(gain: float) -> float:
        shared = (1 - gain) * 0.30 + gain * 0.35
        return math.sqrt((1 - gain) ** 2 * own_variances[0] + gain**2 * own_variances[1] + shared**2)

    belief = believed(first, second)
    assert belief.used is not None
    assert belief.log_sd == pytest.approx(spread(belief.used.gain))
    assert belief.used.gain == pytest.approx(min((n / 10_000 for n in range(10_001)), key=spread), abs=1e-4)


def test_when_both_errors_are_purely_shared_the_newer_count_wins() -> None:
    assert believed(CountEvent(START, 100.0, 0.35, 0.35), CountEvent(START, 120.0, 0.35, 0.35)).middle == pytest.approx(
        120
    )


def test_less_than_one_animal_is_still_joined() -> None:
    belief = believed(CountEvent(START, 0.8, 0.2), CountEvent(START, 0.9, 0.2))
    assert belief.used is not None
    assert (belief.used.rule, belief.used.prior_log_sd) == ("fused", pytest.approx(0.2))
    assert belief.used.count_log_sd == 0.2


def test_a_single_animal_moved_in_has_waited_like_the_rest_when_it_is_counted() -> None:
    used = believed(ExactChange(START, 1, "received"), CountEvent(day(60), 1.1, 0.3)).used
    assert used is not None
    assert used.prior_middle == 1
    assert used.prior_log_sd == pytest.approx(math.sqrt(0.02 * 60 / 30.4375))


def test_a_new_count_never_widens_what_is_known() -> None:
    for own_sd, shared in ((0.0, 0.35), (0.3, 0.35), (0.05, 0.02), (0.2, 0.0)):
        for first in (
            CountEvent(START, 100.0, 0.3, 0.1),
            CountEvent(START, 100.0, 0.05, 0.02),
            CountEvent(START, 100.0, 0.4),
        ):
            second = CountEvent(START, 101.0, math.hypot(own_sd, shared), shared)
            assert believed(first, second).log_sd <= min(first.log_sd, second.log_sd) + 1e-12


def test_a_guess_does_not_spoil_a_full_sort() -> None:
    sort, guess = CountEvent(START, 150.0, 0.02, 0.02), CountEvent(START, 160.0, 0.45, 0.35)
    assert believed(sort, guess).log_sd < 0.03


def test_a_count_that_cannot_be_reconciled_replaces_the_belief() -> None:
    apart = 1.96 * math.hypot(0.3, 0.2)
    near, far = (CountEvent(START, 100 * math.exp(-apart * nudge), 0.2) for nudge in (0.99, 1.01))
    assert believed(CountEvent(START, 100.0, 0.3), near).used.rule == "fused"  # type: ignore[union-attr]
    replaced = believed(CountEvent(START, 100.0, 0.3), far)
    assert replaced.used.rule == "replaced"  # type: ignore[union-attr]
    assert (replaced.middle, replaced.log_sd) == (far.estimate, pytest.approx(0.2))
    assert replaced.used.prior_middle == 100.0  # type: ignore[union-attr]


def test_the_bound_is_never_above_the_last_counts_own_estimate() -> None:
    belief = believed(CountEvent(START, 200.0, 0.05, 0.02), CountEvent(START, 120.0, 0.45, 0.35))
    assert belief.middle > 190
    assert belief.log_sd == belief.sources[0].log_sd < 0.06  # type: ignore[union-attr]
    assert belief.cap == 120
    assert merged([belief, belief]).cap is None
    assert safe(belief, 0) == 120
    assert safe(belief, 60) <= 120 * math.exp(-60 / 30.4375 / 24)


def test_an_exact_count_overrules_everything() -> None:
    belief = believed(EYE, CountEvent(day(3), 40.0, 0.0, 0.0, exact=True))
    assert belief.used.rule == "exact"  # type: ignore[union-attr]
    assert (safe(belief, 3), belief.log_sd, belief.shared_sd) == (40, 0, 0)
    assert safe(belief, 33) == math.floor(40 * math.exp(-30 / 30.4375 / 24 - Z * math.sqrt(0.02 * 30 / 30.4375)))


def test_an_empty_tub_is_empty_until_animals_come() -> None:
    belief = believed(EYE, count_event(day(3), hand(0)), ExactChange(day(4), 14, "moved"))
    assert safe(belief, 3 + 100) == 14
    refilled = believed(EYE, count_event(day(3), hand(0)), count_event(day(5), eye(10, 25)))
    assert refilled.used.rule == "replaced"  # type: ignore[union-attr]
    assert believed(CountEvent(START, 0.0, 0.4, 0.35)).log_sd == 0


def test_animals_moved_into_a_new_tub_are_known_exactly() -> None:
    belief = believed(ExactChange(START, 14, "received"))
    assert (safe(belief, 0), belief.counted_on, belief.known_since) == (14, None, START)


def test_the_first_count_of_a_tub_that_gave_more_than_it_had_is_used_alone() -> None:
    belief = believed(ExactChange(START, -5, "packed"), count_event(day(2), eye(10, 25)))
    assert belief.used.rule == "first"  # type: ignore[union-attr]


def test_a_count_goes_stale_after_six_months() -> None:
    assert not is_stale(believed(EYE), day(182), AGEING)
    assert is_stale(believed(EYE), day(183), AGEING)
    assert is_stale(believed(EYE, ExactChange(day(150), 3, "received")), day(183), AGEING)


def test_a_harvest_share_is_taken_of_what_was_likely_there_at_the_count_never_above_its_estimate() -> None:
    belief = believed(
        EYE, ExactChange(day(20), -12, "packed"), ExactChange(day(21), -5, "died"), ExactChange(day(22), 9, "received")
    )
    assert (belief.at_count, belief.added, belief.taken) == (pytest.approx(math.sqrt(25000)), 4, 12)
    over = believed(CountEvent(START, 200.0, 0.05, 0.02), CountEvent(START, 120.0, 0.45, 0.35))
    assert (over.middle > 190, over.at_count) == (True, 120)


def test_a_sale_count_leaves_what_is_left() -> None:
    count = after_sale(60, 42, 40, shared_sd=0.1)
    kept = count_event(START, count)
    assert kept.estimate == pytest.approx(count.estimate - 40)  # type: ignore[operator]
    assert kept.estimate * math.exp(-Z * kept.log_sd) == pytest.approx(count.lower - 40, abs=0.01)  # type: ignore[operator]
    hopeless = count_event(START, after_sale(10, 7, 300))
    assert safe(believed(hopeless), 0) == 0
    assert hopeless.log_sd == pytest.approx(math.log(700 / 0.5) / Z)  # half an animal is none


def test_an_approximate_move_lowers_one_tub_by_the_most_and_raises_the_other_by_the_least() -> None:
    source = believed(EYE, ApproximateChange(day(3), -20, 0.3))
    target = believed(ApproximateChange(day(3), 20, 0.3))
    assert safe(source, 3) == safe(believed(EYE), 3) - math.ceil(20 * math.exp(Z * 0.3))
    assert safe(target, 3) == math.floor(20 * math.exp(-Z * 0.3))
    assert target.shared_sd == 0


def test_half_a_tub_tipped_over_leaves_half_the_bound_on_either_side() -> None:
    out, into = tip_events(believed(EYE), day(9), 0.5, 0.2, AGEING, "adults")
    source, target = believed(EYE, out), tip_in(None, into)
    whole = safe(believed(EYE), 9)
    assert safe(source, 9) + safe(target, 9) <= whole
    assert safe(source, 9) == math.floor(whole * 0.5 * math.exp(-Z * 0.2))
    assert safe(target, 9) > 0.25 * whole
    assert (out.share, into.share, out.number) == (0.5, 0.5, -78)


def test_a_tub_tipped_over_whole_leaves_nothing_behind() -> None:
    out, into = tip_events(believed(EYE), day(9), 1.0, 0.0, AGEING, "adults")
    assert safe(believed(EYE, out), 9) == 0
    assert safe(tip_in(None, into), 9) == safe(believed(EYE), 9)


def test_a_tub_cannot_be_tipped_by_nothing_or_by_more_than_itself() -> None:
    with pytest.raises(ValueError, match="share"):
        split(believed(EYE), 0, 0.1)
    with pytest.raises(ValueError, match="share"):
        split(believed(EYE), 1.2, 0.1)
    with pytest.raises(ValueError, match="spread"):
        split(believed(EYE), 0.5, -0.1)
    with pytest.raises(ValueError, match="no tub"):
        merged([])


def test_merging_adds_middles_and_bounds_and_keeps_the_oldest_count() -> None:
    other = believed(CountEvent(day(-40), 30.0, 0.2), ExactChange(day(-3), -4, "packed"))
    both = merged([believed(EYE), other])
    assert both.expected == pytest.approx(believed(EYE).expected + 26)
    assert safe(both, 20) == safe(believed(EYE), 20) + safe(other, 20)
    assert both.counted_on == day(-40)


def test_a_count_of_a_merged_tub_joins_its_joint_bound() -> None:
    both = merged([believed(CountEvent(START, 60.0, 0.2, 0.1)), believed(CountEvent(START, 40.0, 0.3, 0.1))])
    joined = replay([CountEvent(START, 100.0, 0.2, 0.1)], AGEING)
    assert joined is not None
    after = fuse(both, CountEvent(START, 100.0, 0.2, 0.1), AGEING, "adults")
    assert after.used.prior_middle == pytest.approx(100)  # type: ignore[union-attr]
    low = 60 * math.exp(-Z * 0.2) + 40 * math.exp(-Z * 0.3)
    assert after.used.prior_log_sd == pytest.approx(math.log(100 / low) / Z)  # type: ignore[union-attr]
    assert after.log_sd < joined.log_sd


def test_what_is_left_of_nothing_is_nothing() -> None:
    emptied = believed(EYE, ExactChange(day(1), -500, "packed"))
    rest, gone = split(emptied, 0.5, 0.1)
    assert (rest.middle, gone.expected, rest.log_sd, merged([rest, gone]).shared_sd) == (0, 0, 0, 0)
    assert aged(believed(count_event(START, hand(0))), day(90), AGEING, "adults").log_sd == 0
    overdrawn = believed(EYE, ApproximateChange(day(1), -500, 0.1))
    assert (overdrawn.middle, overdrawn.expected) == (0, 0)


def test_a_tub_that_gave_most_of_its_animals_says_next_to_nothing() -> None:
    used = believed(EYE, ExactChange(START, -140, "packed"), CountEvent(START, 20.0, 0.3)).used
    assert used is not None
    assert (used.prior_log_sd, used.gain) == (5.0, pytest.approx(1.0, abs=0.01))


def test_tipping_a_tub_apart_leaves_its_shared_error() -> None:
    stays, goes = split(believed(EYE), 0.3, 0.2)
    assert (stays.shared_sd, goes.shared_sd) == (pytest.approx(0.35), pytest.approx(0.35))
    # The part that stays is share/(1 − share) times as uncertain as the part that goes.
    assert stays.log_sd - EYE.log_sd == pytest.approx(0.2 * 0.3 / 0.7, abs=0.02)


def test_one_animal_about_added_is_added_whatever_share_it_was_of_its_tub() -> None:
    belief = believed(ApproximateChange(START, 1, 0.0, share=0.5))
    assert safe(belief, 0) == 1


def test_a_count_used_alone_has_a_gain_of_one() -> None:
    assert believed(EYE).used.gain == 1  # type: ignore[union-attr]
    assert believed(EYE, CountEvent(START, 900.0, 0.1)).used.gain == 1  # type: ignore[union-attr]


def test_no_events_no_belief() -> None:
    assert replay([], AGEING) is None


def test_a_belief_comes_back_from_plain_json_as_it_was() -> None:
    tipped = believed(
        EYE, ExactChange(day(3), -4), ApproximateChange(day(4), -9, 0.2), ApproximateChange(day(5), -30, 0.2, share=0.4)
    )
    timed = replay([CountEvent(datetime(2026, 1, 1, 8, tzinfo=UTC), 30.0, 0.2)], AGEING)
    assert timed is not None
    for belief in (believed(EYE), tipped, timed, merged([believed(EYE), tipped])):
        assert from_json(json.loads(json.dumps(as_json(belief)))) == belief


def test_a_joined_count_remembers_the_prior_and_the_constants_it_used() -> None:
    used = believed(EYE, CountEvent(day(30), 120.0, 0.4, 0.35)).used
    assert used is not None
    again = math.exp((1 - used.gain) * math.log(used.prior_middle) + used.gain * math.log(used.count_estimate))  # type: ignore[arg-type]
    assert believed(EYE, CountEvent(day(30), 120.0, 0.4, 0.35)).middle == pytest.approx(again)
    assert used.constants == {"adult_life_months": 24.0, "widening_per_month": 0.02, "irreconcilable_z": 1.96}
