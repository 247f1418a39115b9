"""What must hold for any tub, any history and any day."""

import math
from dataclasses import replace
from datetime import date, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from breeder.core.counting.methods.direct import after_sale, count_after_sale, hand
from breeder.core.counting.methods.mark_recapture import marked
from breeder.core.counting.methods.removal import removal
from breeder.core.counting.methods.subsample import portions
from breeder.core.counting.methods.visual import eye, index
from breeder.core.stock.belief import aged, lower
from breeder.core.stock.events import Ageing, ApproximateChange, CountEvent, Event, ExactChange, count_event
from breeder.core.stock.merge_split import ShareTippedIn, merged, split
from breeder.core.stock.replay import apply_event, replay

EXAMPLES = 50
START = date(2026, 1, 1)
AGEING = Ageing(young_mature_months=8, young_survival=0.5)

days = st.integers(0, 200).map(lambda n: START + timedelta(days=n))
# Bounds of every shape: normal, Student's t, Wilson, exact, by likelihood, and none at all; with and without own error.
COUNTS = [
    method(*given, shared_sd=shared)
    for shared in (0.0, 0.1, 0.35)
    for method, given in (
        (eye, (50, 100)),
        (hand, (60, 0.1)),
        (portions, ([9, 14, 6], [50] * 3, 4000)),
        (portions, ([3, 9], [50] * 2, 600)),
        (index, (27, 18, 60)),
        (marked, (30, 22, 6)),
        (removal, ([38, 26, 12],)),
        (lambda *given, **options: count_after_sale(after_sale(*given, **options)), (60, 30, 40)),
    )
]
real_counts = st.builds(lambda at, count: count_event(at, count), days, st.sampled_from(COUNTS))
counts = st.builds(
    lambda at, estimate, own_sd, shared: CountEvent(at, estimate, math.hypot(own_sd, shared), shared),
    days,
    st.one_of(st.just(0.0), st.floats(0.5, 2000)),
    st.floats(0, 0.8),
    st.sampled_from([0.0, 0.02, 0.1, 0.25, 0.35]),
)
moves = st.builds(ExactChange, days, st.integers(-60, 60), st.sampled_from(["packed", "died", "moved", "returned"]))
abouts = st.builds(ApproximateChange, days, st.integers(-60, 60), st.floats(0, 0.6))
tips = st.builds(
    lambda at, share, sd: ApproximateChange(at, -1, sd, share), days, st.floats(0.05, 1.0), st.floats(0, 0.5)
)
events = st.lists(st.one_of(counts, real_counts, moves, moves, abouts, tips), min_size=1, max_size=7)
stages = st.sampled_from(["adults", "young"])
LEVELS = (0.5, 0.8, 0.9, 0.95, 0.99)
confidences = st.sampled_from(LEVELS)


def one_a_day(history: list[Event]) -> list[Event]:
    return list({event.at: event for event in history}.values())


@given(events, st.randoms(), stages)
@settings(max_examples=EXAMPLES, deadline=None)
def test_the_same_facts_in_any_order_of_typing_give_the_same_belief(history, random, stage) -> None:  # type: ignore[no-untyped-def]
    facts = one_a_day(history)
    shuffled = list(facts)
    random.shuffle(shuffled)
    assert replay(shuffled, AGEING, stage) == replay(facts, AGEING, stage)


@given(st.lists(events, min_size=1, max_size=4), days, confidences, stages)
@settings(max_examples=EXAMPLES, deadline=None)
def test_tipping_tubs_together_never_raises_the_sum_of_bounds(histories, on, confidence, stage) -> None:  # type: ignore[no-untyped-def]
    tubs = [belief for history in histories if (belief := replay(history, AGEING, stage))]
    apart = sum(lower(tub, on, confidence, AGEING, stage) for tub in tubs)
    assert lower(merged(tubs), on, confidence, AGEING, stage) <= apart


@given(events, st.floats(0.02, 1.0), st.floats(0, 0.6), days, confidences, stages, st.integers(-40, 40))
@settings(max_examples=EXAMPLES, deadline=None)
def test_tipping_a_tub_apart_never_raises_the_sum_of_bounds(history, share, sd, on, confidence, stage, then) -> None:  # type: ignore[no-untyped-def]
    tub = replay(history, AGEING, stage)
    assert tub is not None
    stays, goes = split(tub, share, sd)
    whole = lower(tub, on, confidence, AGEING, stage)
    halves = [lower(half, on, confidence, AGEING, stage) for half in (stays, goes)]
    assert sum(halves) <= whole
    assert lower(merged([stays, goes]), on, confidence, AGEING, stage) <= whole
    # A tub that was split, changed, and split again still holds no more than its parent.
    changed = apply_event(goes, ExactChange(on, min(then, 0), "packed"), AGEING, stage)
    again = split(changed, share, sd)
    assert sum(lower(part, on, confidence, AGEING, stage) for part in again) <= halves[1]


@given(events, st.floats(0.02, 1.0), st.floats(0, 0.6), events, days, stages)
@settings(max_examples=EXAMPLES, deadline=None)
def test_pouring_from_tub_to_tub_never_raises_the_sum_of_bounds_at_any_confidence(  # type: ignore[no-untyped-def]
    history, share, sd, other, on, stage
) -> None:
    first, second = (replay(facts, AGEING, stage) for facts in (history, other))
    assert first is not None
    assert second is not None
    stays, _ = split(first, share, sd)
    there = apply_event(second, ShareTippedIn(on, share, sd, first), AGEING, stage)
    back = apply_event(stays, ShareTippedIn(on, 1.0, 0.0, there), AGEING, stage)
    for level in LEVELS:
        before, halves, again = (
            sum(lower(tub, on, level, AGEING, stage) for tub in tubs)
            for tubs in ((first, second), (stays, there), (back,))
        )
        assert again <= halves <= before
        assert sum(lower(half, on, level, AGEING, stage) for half in split(back, share, sd)) <= again


@given(events, events, st.floats(0.02, 1.0), days, stages)
@settings(max_examples=EXAMPLES, deadline=None)
def test_a_higher_confidence_never_gives_a_higher_bound(history, other, share, on, stage) -> None:  # type: ignore[no-untyped-def]
    first, second = (replay(facts, AGEING, stage) for facts in (history, other))
    assert first is not None
    assert second is not None
    for tub in (first, merged([first, second]), *split(first, share, 0.15)):
        bounds = [lower(tub, on, level, AGEING, stage) for level in (0.5, 0.63, 0.8, 0.9, 0.94, 0.95, 0.96, 0.99)]
        assert bounds == sorted(bounds, reverse=True)


@given(events, real_counts, stages)
@settings(max_examples=EXAMPLES, deadline=None)
def test_the_bound_after_a_count_is_never_below_the_animals_in_the_hand(history, count, stage) -> None:  # type: ignore[no-untyped-def]
    belief = replay([*history, last := replace(count, at=START + timedelta(days=201))], AGEING, stage)
    assert belief is not None
    assert lower(belief, last.at, 0.99, AGEING, stage) >= math.floor(last.floor + 1e-6)


@given(events, st.floats(0.02, 0.98), st.floats(0, 0.6), stages)
@settings(max_examples=EXAMPLES, deadline=None)
def test_splitting_and_merging_keep_the_animals_taken_added_and_counted(history, share, sd, stage) -> None:  # type: ignore[no-untyped-def]
    tub = replay(history, AGEING, stage)
    assert tub is not None
    both = merged(split(tub, share, sd))
    for name in ("at_count", "added", "taken"):
        assert math.isclose(getattr(both, name), getattr(tub, name), abs_tol=1e-9)


@given(events, days, st.integers(0, 100), st.integers(0, 100), stages)
@settings(max_examples=EXAMPLES, deadline=None)
def test_ageing_is_one_step_from_the_count_however_often_it_is_read(history, on, early, late, stage) -> None:  # type: ignore[no-untyped-def]
    tub = replay(history, AGEING, stage)
    assert tub is not None
    first = aged(tub, on + timedelta(days=early), AGEING, stage)
    then = on + timedelta(days=early + late)
    assert aged(first, then, AGEING, stage) == aged(tub, then, AGEING, stage)


@given(events, counts, stages, st.sampled_from([0.5, 0.8, 0.95, 0.99]))
@settings(max_examples=EXAMPLES, deadline=None)
def test_the_bound_after_a_count_is_never_above_its_own_estimate(history, count, stage, confidence) -> None:  # type: ignore[no-untyped-def]
    last = CountEvent(START + timedelta(days=201), count.estimate, count.log_sd, count.shared_sd)
    belief = replay([*history, last], AGEING, stage)
    assert belief is not None
    for wait in (0, 1, 100):
        assert lower(belief, last.at + timedelta(days=wait), confidence, AGEING, stage) <= last.estimate + 1e-6


@given(events, counts, stages)
@settings(max_examples=EXAMPLES, deadline=None)
def test_the_spread_never_falls_under_the_smaller_shared_error(history, count, stage) -> None:  # type: ignore[no-untyped-def]
    shared = [event.shared_sd for event in history if isinstance(event, CountEvent)]
    if any(not isinstance(event, CountEvent) or not event.estimate for event in history) or not count.estimate:
        return
    last = CountEvent(START + timedelta(days=201), count.estimate, count.log_sd, count.shared_sd)
    belief = replay([*history, last], AGEING, stage)
    assert belief is not None
    assert belief.log_sd >= min([*shared, count.shared_sd]) - 1e-9


@given(events, days, st.integers(0, 200), confidences, stages)
@settings(max_examples=EXAMPLES, deadline=None)
def test_waiting_never_raises_a_bound(history, on, wait, confidence, stage) -> None:  # type: ignore[no-untyped-def]
    tub = replay(history, AGEING, stage)
    assert tub is not None
    last = max(event.at for event in history)
    early, late = last + timedelta(days=wait // 2), last + timedelta(days=wait)
    assert lower(tub, late, confidence, AGEING, stage) <= lower(tub, early, confidence, AGEING, stage)


@given(events, st.integers(0, 40), confidences, stages)
@settings(max_examples=EXAMPLES, deadline=None)
def test_taking_n_lowers_the_bound_by_n_while_n_are_there(history, number, confidence, stage) -> None:  # type: ignore[no-untyped-def]
    tub = replay(history, AGEING, stage)
    assert tub is not None
    on = START + timedelta(days=205)
    before = lower(tub, on, confidence, AGEING, stage)
    now = lower(apply_event(tub, ExactChange(on, -number, "packed"), AGEING, stage), on, confidence, AGEING, stage)
    assert now == max(0, before - number) or (before == 0 and now == 0)
