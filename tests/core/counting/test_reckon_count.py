"""`reckon count`: to the contract, with all faults at once."""

import json
import math
from typing import Any

import pytest

from breeder.core.counting.reckon import count
from breeder.core.jsonio import BadInput, load

CONTRACT: list[tuple[dict[str, Any], float, float | None]] = [
    ({"method": "eye", "from": 50, "to": 100}, math.sqrt(5000), 50.00154),
    ({"method": "hand", "counted": 120, "missed_share": 0.05}, 120 / 0.95, 120),
    ({"method": "portions", "counts": [9, 14, 6], "sizes": [50, 50, 50], "whole": 4000}, 2320 / 3, 390.97296),
    ({"method": "index", "seen": 27, "trial_seen": 18, "trial_known": 60}, 90, 59.20763),
    ({"method": "weight", "sample_count": 50, "sample_g": 4.1, "whole_g": 96}, 4800 / 4.1, None),
    ({"method": "marked", "marked": 421, "caught": 332, "marked_caught": 88}, 422 * 333 / 89 - 1, 1392),
    ({"method": "removal", "catches": [38, 26, 12]}, 91, 81),
    ({"method": "after_sale", "index_before": 10, "index_after": 7, "removed": 300}, 1000, 300),
    ({"method": "piece", "seen": 12, "factor": 6, "shared_sd": 0.25}, 72, 72 * math.exp(-1.6448536 * 0.25)),
    ({"method": "full_sort", "counted": 80}, 80, 80),
    ({"method": "portions", "strata": [{"counts": [2, 2], "sizes": [1, 1], "whole": 9}], "visible": 5}, 23, 9),
]


@pytest.mark.parametrize(("document", "estimate", "lower"), CONTRACT, ids=lambda value: str(value)[:30])
def test_each_method_answers(document: dict[str, Any], estimate: float, lower: float | None) -> None:
    answer = count(load(json.dumps(document)))
    assert answer["contract"] == 1
    assert answer["method"] == document["method"]
    assert answer["estimate"] == pytest.approx(estimate)
    assert answer["lower"] == (None if lower is None else pytest.approx(lower))
    assert {"standard_error", "interval", "notes"} <= set(answer)
    json.dumps(answer, allow_nan=False)


def test_what_the_data_do_not_determine_is_null_with_a_sentence() -> None:
    answer = count({"method": "after_sale", "index_before": 7, "index_after": 7, "removed": 30})
    assert [answer[name] for name in ("estimate", "standard_error", "lower", "interval")] == [None] * 4
    assert answer["notes"]
    empty = count({"method": "portions", "counts": [0, 0], "sizes": [1, 1], "whole": 9})
    assert (empty["estimate"], empty["standard_error"], empty["lower"]) == (0, None, 0)


def test_ten_point_nought_is_ten_and_confidence_may_be_asked() -> None:
    whole = count({"method": "hand", "counted": 10.0})
    assert whole["estimate"] == 10
    answer = count({"method": "eye", "from": 50, "to": 100, "confidence": 0.8})
    assert answer["lower"] == pytest.approx(math.sqrt(5000) * math.exp(-0.8416212 * math.log(2) / 3.29))


def faults_of(text: str) -> dict[str, str]:
    with pytest.raises(BadInput) as refused:
        count(load(text))
    return {fault.path: fault.sentence for fault in refused.value.faults}


def test_all_faults_are_named_at_once() -> None:
    found = faults_of('{"method": "eye", "from": true, "to": 50.5, "form": 3, "shared_sd": NaN}')
    assert set(found) == {"from", "to", "form", "shared_sd"}
    assert all(sentence.endswith(".") for sentence in found.values())


def test_impossible_values_are_named_by_their_place() -> None:
    found = faults_of('{"method": "portions", "counts": [4, -1], "sizes": [1, 0], "whole": 0.5}')
    assert {"counts[1]", "sizes[1]"} <= set(found)
    layered = (
        '{"method": "portions", "strata": [{"counts": [1, 2], "sizes": [1], "whole": 9}, {"counts": [1], "whole": 9}]}'
    )
    assert "strata[1].sizes" in faults_of(layered)


def test_a_key_twice_an_unknown_method_and_one_portion_are_faults() -> None:
    assert "from" in faults_of('{"method": "eye", "from": 1, "from": 2, "to": 9}')
    assert list(faults_of('{"method": "smell", "nose": 1}')) == ["method"]
    assert list(faults_of('{"method": "portions", "counts": [9], "sizes": [50], "whole": 4000}')) == ["counts"]
    assert "method" in faults_of("{}")


def test_a_wrong_value_is_named_although_another_field_is_too_many_or_cannot_be_read() -> None:
    for more in ({"x": 2}, {"from": "many"}):
        with pytest.raises(BadInput) as refused:
            count({"method": "eye", "from": 50, "to": 100, "shared_sd": -1} | more)
        named = " ".join(str(fault) for fault in refused.value.faults)
        assert "shared_sd" in named
        assert next(iter(more)) in named
