"""`reckon reserve`: each part alone and all together, to the contract."""

import json
from typing import Any

import pytest

from breeder.core.jsonio import BadInput, load
from breeder.core.reserve.reckon import reserve

LIMIT = {"inbreeding": 0.10, "years": 5, "generation_days": 245}
SURPLUS = {
    "estimate": 280, "standard_error": 43, "portions": 8, "handling_loss": 0, "breeding_minimum": 50, "promised": 0,
    "confidence": 0.95,
}  # fmt: skip
PARTS: list[tuple[dict[str, Any], dict[str, Any]]] = [
    ({"males": 10, "females": 40}, {"effective_size": 32.0, "inbreeding_per_generation": 0.015625}),
    ({"sizes_by_generation": [100, 10, 100]}, {"effective_size_over_time": 25}),
    (
        {"limit": LIMIT, "share_male": 0.5, "sexed": False, "effective_share": 1.0, "reproduction": "two_sexes"},
        {"effective_size_needed": 35.62475916930186, "breeders_needed": 40},
    ),
    ({"limit": LIMIT, "effective_share": 0.3, "sexed": True}, {"breeders_needed": 119}),
    ({"limit": LIMIT, "share_male": 0.25, "sexed": True}, {"breeders_needed": 48}),
    ({"allele": {"frequency": 0.05, "confidence": 0.95}}, {"animals_needed": 30}),
    ({"surplus": SURPLUS}, {"lower": 209.66905528626393, "surplus": 159}),
    ({"surplus": SURPLUS | {"promised": 20, "handling_loss": 0.1}}, {"surplus": 123}),
    ({"surplus": SURPLUS | {"breeding_minimum": 500}}, {"surplus": 0}),
    ({"surplus": {"estimate": 0.5, "standard_error": 0}}, {"lower": 0.5, "surplus": 0}),
    ({"surplus": {"estimate": 0, "standard_error": 0, "breeding_minimum": 5}}, {"lower": 0, "surplus": 0}),
    ({"starter": {"animals": 10, "share_female": 0.8, "survival": 1.0}}, {"both_sexes": 0.8926257152}),
]


@pytest.mark.parametrize(("document", "answer"), PARTS)
def test_each_part_answers_alone(document: dict[str, Any], answer: dict[str, Any]) -> None:
    found = reserve(load(json.dumps(document)))
    assert found["contract"] == 1
    assert {name: found[name] for name in answer} == pytest.approx(answer)


def test_all_parts_answer_together() -> None:
    whole = {key: value for document, _ in reversed(PARTS) for key, value in document.items()}
    found = reserve(load(json.dumps(whole)))
    names = {name for _, answer in PARTS for name in answer}
    assert names <= set(found)
    json.dumps(found, allow_nan=False)


def test_without_portions_the_bound_is_normal_on_the_log_scale() -> None:
    few, many = (reserve({"surplus": SURPLUS | {"portions": n}})["lower"] for n in (2, 100_000))
    plain = reserve({"surplus": {name: value for name, value in SURPLUS.items() if name != "portions"}})["lower"]
    assert few < many == pytest.approx(plain, rel=1e-4)


def test_a_missing_sex_gives_nought_and_null_with_a_sentence() -> None:
    answer = reserve({"males": 0, "females": 9})
    assert (answer["effective_size"], answer["inbreeding_per_generation"]) == (0, None)
    assert answer["notes"]


def test_a_clonal_line_needs_no_number_of_breeders() -> None:
    answer = reserve({"limit": LIMIT, "reproduction": "clonal", "share_male": 0})
    assert answer["breeders_needed"] is None
    assert answer["effective_size_needed"] == pytest.approx(35.62475917)
    assert "clonal" in answer["notes"][0]


@pytest.mark.parametrize(
    ("document", "paths"),
    [
        ({}, {"document"}),
        ({"males": 3}, {"females"}),
        ({"males": 3.5, "females": -1}, {"males", "females"}),
        ({"limit": LIMIT | {"inbreeding": 1}, "share_male": 0}, {"limit.inbreeding", "share_male"}),
        ({"limit": {}, "colour": 1}, {"limit.inbreeding", "limit.years", "limit.generation_days", "colour"}),
        ({"allele": {"frequency": 0}}, {"allele.frequency"}),
        ({"surplus": SURPLUS | {"portions": 1}}, {"surplus.portions"}),
        ({"surplus": SURPLUS | {"handling_loss": 1}}, {"surplus.handling_loss"}),
        ({"starter": {"animals": 9.5, "share_female": 2}}, {"starter.animals", "starter.share_female"}),
        ({"sizes_by_generation": [10, -1]}, {"sizes_by_generation[1]"}),
        ({"sizes_by_generation": []}, {"sizes_by_generation"}),
    ],
)
def test_faults_are_named_all_at_once(document: dict[str, Any], paths: set[str]) -> None:
    with pytest.raises(BadInput) as refused:
        reserve(load(json.dumps(document)))
    assert {fault.path for fault in refused.value.faults} == paths


@pytest.mark.parametrize(
    ("part", "field", "still", "no_more"),
    [
        ("limit", "inbreeding", 1e-4, 0.99e-4),
        ("limit", "years", 100_000, 100_001),
        ("limit", "generation_days", 100_000, 100_001),
        ("limit", "years", 0.01, 0.0099),
        ("limit", "generation_days", 0.01, 0.0099),
        ("allele", "frequency", 1e-9, 0.99e-9),
        ("surplus", "estimate", 10**9, 10**9 + 1),
        ("surplus", "standard_error", 10**9, 10**9 + 1),
    ],
)
def test_a_slip_of_the_finger_is_refused_from_a_named_limit_on(
    part: str, field: str, still: float, no_more: float
) -> None:
    """Common practice, no source: what lies beyond these is mistyped."""
    whole = {"limit": LIMIT, "surplus": SURPLUS, "allele": {"confidence": 0.95}}[part]
    reserve({part: whole | {field: still}})
    with pytest.raises(BadInput, match=field):
        reserve({part: whole | {field: no_more}})


def test_more_animals_than_any_line_holds_are_refused() -> None:
    assert reserve({"males": 10**9, "females": 10**9})["effective_size"] == 2 * 10**9
    with pytest.raises(BadInput, match="males"):
        reserve({"males": 10**9 + 1, "females": 10**9})


def test_of_an_estimate_that_is_all_doubt_nothing_is_sold() -> None:
    for estimate in (1e-300, 5e-324, 0.0):
        answer = reserve({"surplus": SURPLUS | {"estimate": estimate}})
        assert answer["surplus"] == 0
        assert answer["lower"] == pytest.approx(0)
