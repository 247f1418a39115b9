"""What must hold for any tub, any history and any day."""

import math
from datetime import date, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from breeder.core.stock import About, Ageing, Counted, Event, Moved, after, lower, merged, replay, split

EXAMPLES = 50
START = date(2026, 1, 1)
AGEING = Ageing()

days = st.integers(0, 200).map(lambda n: START + timedelta(days=n))
counts = st.builds(
    lambda at, estimate, own, shared: Counted(at, estimate, math.hypot(own, shared), shared),
    days,
    st.one_of(st.just(0.0), st.floats(0.5, 2000)),
    st.floats(0, 0.8),
    st.sampled_from([0.0, 0.02, 0.1, 0.25, 0.35]),
)
moves = st.builds(Moved, days, st.integers(-60, 60), st.sampled_from(["packed", "died", "moved", "returned"]))
abouts = st.builds(About, days, st.integers(-60, 60), st.floats(0, 0.6))
tips = st.builds(lambda at, share, sd: About(at, -1, sd, share), days, st.floats(0.05, 1.0), st.floats(0, 0.5))
events = st.lists(st.one_of(counts, moves, moves, abouts, tips), min_size=1, max_size=7)
stages = st.sampled_from(["adults", "young"])
confidences = st.sampled_from([0.5, 0.8, 0.9, 0.95, 0.99])


def one_a_day(history: list[Event]) -> list[Event]:
    return list({event.at: event for event in history}.values())


@given(events, st.randoms(), stages)
@settings(max_examples=EXAMPLES)
def test_the_same_facts_in_any_order_of_typing_give_the_same_belief(history, random, stage) -> None:  # type: ignore[no-untyped-def]
    facts = one_a_day(history)
    shuffled = list(facts)
    random.shuffle(shuffled)
    assert replay(shuffled, AGEING, stage) == replay(facts, AGEING, stage)


@given(st.lists(events, min_size=1, max_size=4), days, confidences, stages)
@settings(max_examples=EXAMPLES)
def test_tipping_tubs_together_never_raises_the_sum_of_bounds(histories, on, confidence, stage) -> None:  # type: ignore[no-untyped-def]
    tubs = [belief for history in histories if (belief := replay(history, AGEING, stage))]
    apart = sum(lower(tub, on, confidence, AGEING, stage) for tub in tubs)
    assert lower(merged(tubs), on, confidence, AGEING, stage) <= apart


@given(events, st.floats(0.02, 1.0), st.floats(0, 0.6), days, confidences, stages, st.integers(-40, 40))
@settings(max_examples=EXAMPLES)
def test_tipping_a_tub_apart_never_raises_the_sum_of_bounds(history, share, sd, on, confidence, stage, then) -> None:  # type: ignore[no-untyped-def]
    tub = replay(history, AGEING, stage)
    assert tub is not None
    stays, goes = split(tub, share, sd)
    whole = lower(tub, on, confidence, AGEING, stage)
    halves = [lower(half, on, confidence, AGEING, stage) for half in (stays, goes)]
    assert sum(halves) <= whole
    assert lower(merged([stays, goes]), on, confidence, AGEING, stage) <= whole
    # A tub that was split, changed, and split again still holds no more than its parent.
    changed = after(goes, Moved(on, min(then, 0), "packed"), AGEING, stage)
    again = split(changed, share, sd)
    assert sum(lower(part, on, confidence, AGEING, stage) for part in again) <= halves[1]


@given(events, counts, stages, st.sampled_from([0.5, 0.8, 0.95, 0.99]))
@settings(max_examples=EXAMPLES)
def test_the_bound_after_a_count_is_never_above_its_own_estimate(history, count, stage, confidence) -> None:  # type: ignore[no-untyped-def]
    last = Counted(START + timedelta(days=201), count.estimate, count.log_sd, count.shared_sd)
    belief = replay([*history, last], AGEING, stage)
    assert belief is not None
    for wait in (0, 1, 100):
        assert lower(belief, last.at + timedelta(days=wait), confidence, AGEING, stage) <= last.estimate + 1e-6


@given(events, counts, stages)
@settings(max_examples=EXAMPLES)
def test_the_spread_never_falls_under_the_smaller_shared_error(history, count, stage) -> None:  # type: ignore[no-untyped-def]
    shared = [event.shared_sd for event in history if isinstance(event, Counted)]
    if any(not isinstance(event, Counted) or not event.estimate for event in history) or not count.estimate:
        return
    last = Counted(START + timedelta(days=201), count.estimate, count.log_sd, count.shared_sd)
    belief = replay([*history, last], AGEING, stage)
    assert belief is not None
    assert belief.log_sd >= min([*shared, count.shared_sd]) - 1e-9


@given(events, days, st.integers(0, 200), confidences, stages)
@settings(max_examples=EXAMPLES)
def test_waiting_never_raises_a_bound(history, on, wait, confidence, stage) -> None:  # type: ignore[no-untyped-def]
    tub = replay(history, AGEING, stage)
    assert tub is not None
    last = max(event.at for event in history)
    early, late = last + timedelta(days=wait // 2), last + timedelta(days=wait)
    assert lower(tub, late, confidence, AGEING, stage) <= lower(tub, early, confidence, AGEING, stage)


@given(events, st.integers(0, 40), confidences, stages)
@settings(max_examples=EXAMPLES)
def test_taking_n_lowers_the_bound_by_n_while_n_are_there(history, number, confidence, stage) -> None:  # type: ignore[no-untyped-def]
    tub = replay(history, AGEING, stage)
    assert tub is not None
    on = START + timedelta(days=205)
    before = lower(tub, on, confidence, AGEING, stage)
    now = lower(after(tub, Moved(on, -number, "packed"), AGEING, stage), on, confidence, AGEING, stage)
    assert now == max(0, before - number) or (before == 0 and now == 0)
