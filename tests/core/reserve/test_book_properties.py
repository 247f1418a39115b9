"""Properties of any line: promise and pack, keep back one more, and never give more than is safe."""

from datetime import date, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from breeder.core.reserve.book import BookEntry, BookPromise, LineTerms, open_book
from breeder.core.reserve.surplus import Tub, line_free
from breeder.core.stock.events import CountEvent, ExactChange

EXAMPLES = 50
TODAY = date(2026, 3, 1)
PURPOSES = ("breeding", "breeding", "growing", "quarantine")

tub_counts = st.lists(
    st.tuples(st.sampled_from(PURPOSES), st.floats(20, 900), st.floats(0, 0.5), st.integers(0, 200)),
    min_size=1,
    max_size=4,
)
losses = st.sampled_from([0.0, 0.05, 0.1, 1 / 3])
harvests = st.sampled_from([None, 0.3, 0.5])
stages = st.sampled_from(["adults", "young"])


def open_line(counts, terms, stage, packed=(), promised=()):  # type: ignore[no-untyped-def]
    tubs = [Tub(n, purpose) for n, (purpose, *_) in enumerate(counts)]
    entries = [
        BookEntry(n, n, on := TODAY - timedelta(days=days), stage, CountEvent(on, estimate, sd))
        for n, (_, estimate, sd, days) in enumerate(counts)
    ]
    entries += [
        BookEntry(100 + n, tub, TODAY, stage, ExactChange(TODAY, -number, "packed"))
        for n, (tub, number) in enumerate(packed)
    ]
    return open_book(TODAY, terms, tubs, entries, [BookPromise(stage, number) for number in promised])[stage]


@given(tub_counts, st.integers(0, 60), losses, harvests, stages, st.integers(1, 40))
@settings(max_examples=EXAMPLES, deadline=None)
def test_promise_and_pack_leave_what_is_free_unchanged_to_the_animal(
    counts, kept, loss, harvest, stage, number
) -> None:  # type: ignore[no-untyped-def]
    terms = LineTerms({stage: kept, "adults": kept}, handling_loss=loss, harvest_share=harvest)
    before = open_line(counts, terms, stage)
    promised = open_line(counts, terms, stage, promised=[number])
    giving = [page for page in before.tubs if not page.stale and counts[page.tub][0] != "quarantine"]
    able = [page.tub for page in giving if page.lower >= number]
    assert promised.line.number == max(0, before.line.number - number)
    for tub in able:
        packed = open_line(counts, terms, stage, packed=[(tub, number)])
        assert packed.line.number == promised.line.number


@given(st.integers(0, 900), st.integers(0, 100), st.integers(0, 300), losses)
@settings(max_examples=EXAMPLES, deadline=None)
def test_a_line_is_never_both_short_and_free(lower, kept, promised, loss) -> None:  # type: ignore[no-untyped-def]
    free = line_free(lower, kept, promised, loss)
    assert free.number >= 0
    assert free.short >= 0
    assert not (free.number and free.short)
    assert free.number + promised + kept <= max(lower, promised + kept)
    assert free.short <= promised


@given(tub_counts, st.integers(0, 60), stages)
@settings(max_examples=EXAMPLES, deadline=None)
def test_keeping_back_one_more_frees_no_more(counts, kept, stage) -> None:  # type: ignore[no-untyped-def]
    less, more = (open_line(counts, LineTerms({stage: n, "adults": n}), stage) for n in (kept, kept + 1))
    assert more.line.number <= less.line.number
    assert more.line.number in (less.line.number - 1, 0)


@given(tub_counts, st.integers(0, 60), stages)
@settings(max_examples=EXAMPLES, deadline=None)
def test_no_tub_gives_more_than_is_safely_in_it(counts, kept, stage) -> None:  # type: ignore[no-untyped-def]
    page = open_line(counts, LineTerms({stage: kept, "adults": kept}), stage)
    assert all(tub.free.number <= tub.lower for tub in page.tubs)
    assert page.line.number <= sum(tub.lower for tub in page.tubs)
