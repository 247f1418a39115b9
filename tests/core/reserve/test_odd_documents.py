"""Whatever stands at any place of a document, the answer is finite or every fault is a sentence; nothing breaks."""

import json
import math
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from breeder.core.counting.reckon import count
from breeder.core.jsonio import BadInput, load
from breeder.core.reserve.reckon import book, reserve

COUNTS: list[dict[str, Any]] = [
    {"method": "eye", "from": 50, "to": 100},
    {"method": "hand", "counted": 120, "missed_share": 0.05},
    {"method": "portions", "counts": [9, 14, 6], "sizes": [50, 50, 50], "whole": 4000},
    {"method": "portions", "strata": [{"counts": [9, 14], "sizes": [5, 5], "whole": 400}], "visible": 3},
    {"method": "piece", "seen": 4, "factor": 5},
    {"method": "index", "seen": 27, "trial_seen": 18, "trial_known": 60},
    {"method": "weight", "sample_count": 50, "sample_g": 4.1, "whole_g": 96},
    {"method": "marked", "marked": 421, "caught": 332, "marked_caught": 88},
    {"method": "removal", "catches": [38, 26, 12]},
    {"method": "after_sale", "index_before": 10, "index_after": 7, "removed": 300, "confidence": 0.9, "shared_sd": 0.2},
    {
        "method": "by_sexes",
        "before": {"males": 20, "females": 20},
        "after": {"males": 25, "females": 15},
        "taken": {"males": 0, "females": 20},
    },
]
RESERVES: list[dict[str, Any]] = [
    {"males": 10, "females": 40},
    {"sizes_by_generation": [10, 20]},
    {"limit": {"inbreeding": 0.1, "years": 5, "generation_days": 245}, "share_male": 0.3, "effective_share": 0.3},
    {"limit": {"inbreeding": 0.1, "years": 5, "generation_days": 245}, "sexed": True, "reproduction": "two_sexes"},
    {"allele": {"frequency": 0.05, "confidence": 0.95}},
    {"surplus": {"estimate": 280, "standard_error": 43, "portions": 8, "handling_loss": 0, "breeding_minimum": 50}},
    {"starter": {"animals": 10, "share_female": 0.8, "survival": 1.0}},
]
BOOKS: list[dict[str, Any]] = [
    {
        "as_of": "2026-03-01",
        "line": {"breeding_minimum": {"adults": 50}, "confidence": 0.95, "harvest_share": 0.3, "adult_life_months": 24},
        "tubs": [{"tub": 14, "purpose": "breeding"}],
        "entries": [
            {"id": 1, "tub": 14, "on": "2026-01-10", "kind": "count", "stage": "adults", "count": COUNTS[0]},
            {"id": 2, "tub": 14, "on": "2026-01-20", "kind": "change", "stage": "adults", "number": -12},
            {"id": 3, "tub": 14, "on": "2026-01-21", "kind": "correct", "corrects": 2},
        ],
        "promises": [{"stage": "adults", "number": 12}, {"stage": "adults", "number": 6, "tub": 14}],
    }
]
ODD: list[Any] = [
    None, True, "", "12", "2026-02-30", "9999-12-31", [], {}, [[]], [0, 0], [5, 5, 5], [10**6, 0, 0], [None], [1] * 300,
    -1, 0, 1, 2, -5.5, 5e-324, 1e-300, 1e-9, 0.5, 1.0000001, 1e6, 1e6 + 1, 1e18, 1.7e308, -1e300, 10**400,
]  # fmt: skip
LONGEST_SENTENCE = 400
ASKED: list[tuple[Callable[[dict[str, Any]], dict[str, Any]], dict[str, Any]]] = [
    *((count, document) for document in COUNTS),
    *((reserve, document) for document in RESERVES),
    *((book, document) for document in BOOKS),
]


def places(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    for key, inner in value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ():
        yield (*path, key)
        yield from places(inner, (*path, key))


def changed(document: dict[str, Any], path: tuple[Any, ...], value: Any) -> dict[str, Any]:
    copy = json.loads(json.dumps(document))
    inner = copy
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = value
    return copy


def numbers(answer: Any) -> Iterator[float]:
    for inner in answer.values() if isinstance(answer, dict) else answer if isinstance(answer, list | tuple) else ():
        yield from numbers(inner)
    if isinstance(answer, float):
        yield answer


def answered(
    asked: Callable[[dict[str, Any]], dict[str, Any]], document: dict[str, Any]
) -> tuple[dict[str, Any] | None, list[str]]:
    try:
        return asked(load(json.dumps(document))), []
    except BadInput as bad:
        return None, [fault.sentence for fault in bad.faults]


@pytest.mark.parametrize(
    ("asked", "document"), ASKED, ids=[f"{asked.__name__} {n}" for n, (asked, _) in enumerate(ASKED)]
)
def test_an_odd_value_anywhere_is_answered_or_refused_in_a_sentence(
    asked: Callable[[dict[str, Any]], dict[str, Any]], document: dict[str, Any]
) -> None:
    assert asked(load(json.dumps(document)))["contract"] == 1
    refused = 0
    for path in places(document):
        for value in ODD:
            odd = changed(document, path, value)
            answer, faults = answered(asked, odd)
            refused += bool(faults)
            assert all(sentence.endswith(".") and len(sentence) < LONGEST_SENTENCE for sentence in faults), odd
            assert answer is None or all(math.isfinite(number) for number in numbers(answer)), odd
    assert refused


@pytest.mark.parametrize("asked", [count, reserve, book])
@pytest.mark.parametrize(
    "text", ["", "[", "[]", "1", "null", "{}", '{"a": 1, "a": 2}', '{"males": NaN, "females": 1}', "[" * 5000]
)
def test_what_is_no_document_is_refused(asked: Callable[[dict[str, Any]], dict[str, Any]], text: str) -> None:
    with pytest.raises(BadInput):
        asked(load(text))


@pytest.mark.parametrize(
    ("document", "estimate", "lower"),
    [
        ({"method": "portions", "counts": [5, 5, 5], "sizes": [10, 10, 10], "whole": 30}, 15, 15),
        ({"method": "portions", "counts": [0, 0, 0], "sizes": [1, 1, 1], "whole": 30}, 0, 0),
        ({"method": "portions", "counts": [3, 4], "sizes": [1, 1], "whole": 2}, 7, 7),  # the whole tub was counted
        ({"method": "removal", "catches": [0, 0]}, 0, 0),
        ({"method": "removal", "catches": [9, 0, 0]}, 9, 9),
        ({"method": "marked", "marked": 5, "caught": 5, "marked_caught": 5}, 5, 5),  # each one met again
        ({"method": "weight", "sample_count": 7, "sample_g": 2, "whole_g": 2}, 7, None),  # the sample is all there is
        ({"method": "index", "seen": 0, "trial_seen": 3, "trial_known": 9}, 0, 0),
        ({"method": "eye", "from": 9, "to": 9}, 9, 9),
    ],
    ids=lambda value: str(value)[:60],
)
def test_counts_at_the_edge_are_what_was_in_the_hand(document: dict[str, Any], estimate: float, lower: float) -> None:
    answer = count(document)
    assert answer["estimate"] == pytest.approx(estimate)
    assert answer["lower"] == (None if lower is None else pytest.approx(lower))
