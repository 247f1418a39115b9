"""Impossible counts get a sentence with field, value and remedy, all of them at once."""

import math
from collections.abc import Callable

import pytest

from breeder.core.counting.errors import BadCount
from breeder.core.counting.methods.change_in_ratio import SexCounts, by_sexes
from breeder.core.counting.methods.count import Count
from breeder.core.counting.methods.direct import after_sale, hand, weight
from breeder.core.counting.methods.mark_recapture import marked
from breeder.core.counting.methods.removal import removal
from breeder.core.counting.methods.subsample import SubstrateLayer, layers, portions
from breeder.core.counting.methods.visual import eye, index, piece

IMPOSSIBLE: list[tuple[Callable[[], Count], str, str]] = [
    (lambda: eye(0, 10), "from", "0"),
    (lambda: eye(100, 50), "to", "50"),
    (lambda: eye(50, math.nan), "to", "not a number"),
    (lambda: eye(50.5, 100), "from", "50.5"),
    (lambda: hand(-1), "counted", "-1"),
    (lambda: hand(12.5), "counted", "12.5"),  # type: ignore[arg-type]
    (lambda: hand(10, 1.0), "missed_share", "1"),
    (lambda: hand(10**7), "counted", "10000000"),
    (lambda: portions([9], [50], 4000), "counts", "at least 2"),
    (lambda: portions([9, 4], [50], 4000), "sizes", "one size for each"),
    (lambda: portions([9, -4], [50, 50], 4000), "counts[1]", "-4"),
    (lambda: portions([9, 4], [50, 0], 4000), "sizes[1]", "0"),
    (lambda: portions([9, 4], [50, 50], 60), "whole", "60"),
    (lambda: portions([9, 4], [50, 50], math.inf), "whole", "not a number"),
    (lambda: layers([]), "strata", "no layer"),
    (
        lambda: layers([SubstrateLayer([1, 2], [1, 1], 9), SubstrateLayer([1], [1], 9)]),
        "strata[1].counts",
        "at least 2",
    ),
    (lambda: piece(3, 0.5), "factor", "0.5"),
    (lambda: index(3, 9, 8), "trial_seen", "9 of 8"),
    (lambda: index(3, 0, 0), "trial_known", "0"),
    (lambda: weight(0, 4, 96), "sample_count", "0"),
    (lambda: weight(5, 40, 9), "whole_g", "9 g"),
    (lambda: marked(5, 9, 6), "marked_caught", "6"),
    (lambda: marked(0, 9, 0), "marked", "0"),
    (lambda: removal([7]), "catches", "at least 2"),
    (lambda: removal([7, -1]), "catches[1]", "-1"),
    (lambda: after_sale(0, 0, 5), "index_before", "0"),
    (lambda: after_sale(9, 3, 0), "removed", "0"),
    (lambda: by_sexes(SexCounts(0, 0), SexCounts(9, 3), SexCounts(0, 5)), "before", "No animal was sexed"),
    (lambda: by_sexes(SexCounts(3, 3), SexCounts(0, 0), SexCounts(0, 5)), "after", "No animal was sexed"),
    (lambda: by_sexes(SexCounts(3, 3), SexCounts(9, 3), SexCounts(0, 0)), "taken", "Nothing was taken"),
    (lambda: by_sexes(SexCounts(3, -1), SexCounts(9, 3), SexCounts(0, 2)), "before.females", "-1"),
    (lambda: eye(50, 100, confidence=0.4), "confidence", "0.4"),
    (lambda: eye(50, 100, confidence=1.0), "confidence", "1"),
    (lambda: eye(50, 100, shared_sd=-0.1), "shared_sd", "-0.1"),
]


@pytest.mark.parametrize(("impossible", "field", "value"), IMPOSSIBLE)
def test_an_impossible_count_is_named(impossible: Callable[[], Count], field: str, value: str) -> None:
    with pytest.raises(BadCount) as refused:
        impossible()
    assert refused.value.field == field
    assert value in refused.value.sentence
    assert refused.value.sentence.count(".") >= 1
    assert "!" not in refused.value.sentence


def test_all_faults_are_named_at_once() -> None:
    with pytest.raises(BadCount) as refused:
        portions([9, -4], [50, 0], -1, confidence=2)
    assert [field for field, _ in refused.value.faults] == ["confidence", "counts[1]", "sizes[1]", "whole"]
