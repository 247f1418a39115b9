"""Test whether an animal may go to a place: the most specific rule, the stricter on a tie, permits, open questions.

Citations are those of the rules named (HRS 150A-6.2 and HAR 4-71: read in copies; F.A.C. 5B-57.004: read in a copy
current to 2024; 7 CFR 330.200: read in a copy of 2024). What they require for a given species is invented here.
"""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from breeder.carriers.models import MovementRule, Permit
from breeder.core.compliance.facts import Animal, Clearance, HeldPermit, Movement, Rule
from breeder.core.compliance.movement import applies, deciding_rules, movement_answer

Effect = MovementRule.Effect
ON = date(2026, 3, 2)
SCABER = Animal("Porcellio scaber", ("Porcellio scaber", "Porcellio", "Porcellionidae", "Isopoda", "Arthropoda"))
DUBIA = Animal("Blaptica dubia", ("Blaptica dubia", "Blaptica", "Blaberidae", "Blattodea", "Insecta", "Arthropoda"))
HOME, FLORIDA, HAWAII = "US-NY", "US-FL", "US-HI"


def way(destination: str = FLORIDA, **changed: Any) -> Movement:
    return replace(Movement(HOME, destination, ON, person_id=7), **changed)


def rule(effect: str, taxon: str = "Isopoda", destination: str = "US", **values: Any) -> Rule:
    looked = {"checked_on": date(2026, 1, 5), "recheck_on": date(2027, 1, 5), "citation": "7 CFR 330.200"}
    return Rule(taxon=taxon, effect=effect, **({"origin": "", "destination": destination} | looked | values))


def permit(**values: Any) -> HeldPermit:
    usual = {
        "number": "P-1", "issuer": "USDA APHIS", "kind": "PPQ 526", "taxa": ("Isopoda",), "origins": ("US-NY",),
        "destinations": ("US-FL",), "direction": Permit.Direction.SEND, "valid_from": date(2026, 1, 1),
        "valid_until": date(2026, 12, 31),
    }  # fmt: skip
    return HeldPermit(**(usual | values))


def test_nothing_on_record_is_never_silently_allowed() -> None:
    answer = movement_answer(SCABER, way(), [], [])
    assert answer.standing == Clearance.OPEN
    assert answer.questions == ("Nothing is on record for Porcellio scaber into Florida (US-FL).",)


def test_a_forbidding_rule_blocks_with_citation_and_date() -> None:
    answer = movement_answer(SCABER, way(HAWAII), [rule("forbidden", "", HAWAII, citation="HRS 150A-6.2")], [])
    assert answer.blocks == (
        "Porcellio scaber into Hawaii (US-HI) is forbidden (your rule for everything not listed): HRS 150A-6.2, "
        "looked up on 5 January 2026.",
    )


@pytest.mark.parametrize("taxon", ["Porcellio scaber", "Porcellio", "Porcellionidae", "isopoda", "Arthropoda", ""])
def test_a_rule_on_a_taxon_covers_its_descendants(taxon: str) -> None:
    assert movement_answer(SCABER, way(), [rule("forbidden", taxon)], []).standing == Clearance.BLOCKED


def test_a_rule_on_insects_does_not_reach_an_isopod() -> None:
    assert movement_answer(SCABER, way(), [rule("forbidden", "Insecta")], []).standing == Clearance.OPEN
    assert movement_answer(DUBIA, way(), [rule("forbidden", "Insecta")], []).standing == Clearance.BLOCKED


@pytest.mark.parametrize(
    ("wide", "narrow"),
    [
        (rule("forbidden", "Isopoda"), rule("allowed", "Porcellio scaber")),
        (rule("forbidden", "Isopoda"), rule("allowed", "Isopoda", FLORIDA)),
        (rule("forbidden", "Isopoda"), rule("allowed", "Isopoda", origin="US-NY")),
        (rule("forbidden", ""), rule("allowed", "Arthropoda")),
    ],
)
def test_the_most_specific_rule_counts(wide: Rule, narrow: Rule) -> None:
    assert movement_answer(SCABER, way(), [wide, narrow], []).standing == Clearance.CLEAR
    strict = replace(narrow, effect="forbidden")
    assert movement_answer(SCABER, way(), [replace(wide, effect="allowed"), strict], []).standing == Clearance.BLOCKED


def test_on_a_tie_the_stricter_counts() -> None:
    """A list for one state and a rule for the species in the whole country: neither is narrower."""
    rules = [rule("allowed", "Porcellio scaber", "US"), rule("forbidden", "", HAWAII)]
    assert movement_answer(SCABER, way(HAWAII), rules, []).standing == Clearance.BLOCKED
    assert movement_answer(SCABER, way(FLORIDA), rules, []).standing == Clearance.CLEAR


def test_what_two_authorities_ask_adds_up() -> None:
    federal = rule("permit", "Isopoda", "US", authority="USDA APHIS", permit_kind="PPQ 526")
    state = rule("allowed", "Porcellio scaber", FLORIDA, authority="FDACS")
    assert movement_answer(SCABER, way(), [federal, state], []).standing == Clearance.BLOCKED
    assert movement_answer(SCABER, way(), [federal, state], [permit()]).standing == Clearance.CLEAR


EFFECTS = st.sampled_from(list(Effect))
ANY_RULE = st.builds(
    rule,
    EFFECTS,
    st.sampled_from(["", "Isopoda", "Porcellio", "Porcellio scaber", "Insecta"]),
    st.sampled_from(["", "US", "US-FL", "US-HI"]),
    origin=st.sampled_from(["", "US", "US-NY", "US-OH"]),
    verified=st.booleans(),
    authority=st.sampled_from(["", "USDA APHIS"]),
)


@given(st.lists(ANY_RULE, max_size=6), st.integers(0, 5))
def test_the_order_of_the_rules_never_matters(rules: list[Rule], cut: int) -> None:
    shuffled = [*rules[cut:], *rules[:cut]][::-1]
    before, after = (movement_answer(SCABER, way(), these, []) for these in (rules, shuffled))
    assert before.standing == after.standing
    assert [each.effect for each in deciding_rules(rules, SCABER)] == [
        each.effect for each in deciding_rules(shuffled, SCABER)
    ]


@given(st.lists(ANY_RULE, max_size=6))
def test_no_rule_of_the_keepers_is_never_clear_and_an_example_never_blocks(rules: list[Rule]) -> None:
    answer = movement_answer(SCABER, way(), [replace(each, verified=False) for each in rules], [])
    assert answer.standing == Clearance.OPEN


@given(st.lists(ANY_RULE, max_size=6))
def test_what_is_clear_has_a_rule_that_says_so(rules: list[Rule]) -> None:
    if movement_answer(SCABER, way(), rules, []).standing == Clearance.CLEAR:
        assert any(
            each.verified and applies(each, SCABER, way()) and each.effect in ("allowed", "conditions")
            for each in rules
        )


def test_an_example_only_asks_until_the_keeper_has_looked_it_up() -> None:
    example = rule("forbidden", "Isopoda", FLORIDA, verified=False, checked_on=None, recheck_on=None)
    answer = movement_answer(SCABER, way(), [example, rule("allowed", "Isopoda")], [])
    assert answer.standing == Clearance.OPEN
    assert "An unverified example says that Isopoda into Florida (US-FL) is forbidden" in answer.questions[0]
    own_rule = rule("allowed", "Porcellio scaber", FLORIDA, origin="")
    assert movement_answer(SCABER, way(), [example, own_rule], []).standing == Clearance.CLEAR


def test_a_stale_rule_asks_and_a_stale_ban_still_blocks() -> None:
    old = {"checked_on": date(2024, 1, 5), "recheck_on": date(2025, 1, 5)}
    answer = movement_answer(SCABER, way(), [rule("allowed", **old)], [])
    assert answer.standing == Clearance.OPEN
    assert "was due to be looked up again by 5 January 2025" in answer.questions[0]
    ban = movement_answer(SCABER, way(), [rule("forbidden", **old)], [])
    assert ban.standing == Clearance.BLOCKED
    assert "looked up again by 5 January 2025" in ban.blocks[0]


def test_a_rule_for_crossing_a_border_leaves_the_own_state_alone() -> None:
    federal = rule("permit", across_only=True)
    assert movement_answer(SCABER, way("US-NJ"), [federal], []).standing == Clearance.BLOCKED
    assert movement_answer(SCABER, way(HOME), [federal], []).questions[0].startswith("Nothing is on record")


def test_a_permit_in_scope_meets_the_rule_and_is_named() -> None:
    answer = movement_answer(SCABER, way(), [rule("permit", permit_kind="PPQ 526")], [permit()])
    assert answer.standing == Clearance.CLEAR
    assert [each.number for each in answer.permits] == ["P-1"]
    assert "PPQ 526 P-1 of USDA APHIS counts until 31 December 2026" in answer.notes[0]


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"valid_until": ON - timedelta(days=1)}, "ran out on 1 March 2026"),
        ({"valid_from": ON + timedelta(days=1)}, "counts only from 3 March 2026"),
        ({"taxa": ("Diplopoda",)}, "does not name Porcellio scaber"),
        ({"destinations": ("US-GA",)}, "does not cover Florida (US-FL)"),
        ({"origins": ("US-OH",)}, "does not cover sending from New York (US-NY)"),
        ({"direction": Permit.Direction.RECEIVE}, "is yours to receive"),
        ({"person_id": 8, "direction": Permit.Direction.RECEIVE}, "is held by someone else"),
        ({"person_id": 7, "direction": Permit.Direction.SEND}, "is the customer's to send"),
    ],
)
def test_a_permit_out_of_scope_does_not_count(changed: dict[str, Any], why: str) -> None:
    answer = movement_answer(SCABER, way(), [rule("permit")], [permit(**changed)])
    assert answer.standing == Clearance.BLOCKED
    assert why in answer.blocks[0]


def test_a_permit_of_another_kind_does_not_count() -> None:
    asked = rule("permit", permit_kind="FDACS-08208", citation="F.A.C. 5B-57.004(1)")
    answer = movement_answer(SCABER, way(), [asked], [permit()])
    assert answer.blocks[0].endswith("None is in the book.")
    assert movement_answer(SCABER, way(), [asked], [permit(kind="fdacs-08208")]).standing == Clearance.CLEAR


def test_the_customers_own_permit_counts_for_them_alone() -> None:
    theirs = permit(person_id=7, direction=Permit.Direction.RECEIVE)
    assert movement_answer(SCABER, way(), [rule("permit")], [theirs]).standing == Clearance.CLEAR
    assert movement_answer(SCABER, way(person_id=9), [rule("permit")], [theirs]).standing == Clearance.BLOCKED


@pytest.mark.parametrize("day", [date(2026, 1, 1), date(2026, 12, 31)])
def test_a_permit_counts_on_its_first_and_last_day(day: date) -> None:
    assert movement_answer(SCABER, way(on=day), [rule("permit")], [permit()]).standing == Clearance.CLEAR


def test_an_address_without_a_state_asks_where_states_have_rules() -> None:
    rules = [rule("allowed"), rule("forbidden", "", HAWAII)]
    answer = movement_answer(SCABER, way("US"), rules, [])
    assert answer.standing == Clearance.OPEN
    assert "names no state of the United States (US)" in answer.questions[0]
    assert movement_answer(SCABER, way("US"), rules[:1], []).standing == Clearance.CLEAR


def test_an_unknown_home_asks_where_a_rule_depends_on_it() -> None:
    answer = movement_answer(SCABER, way(origin=""), [rule("allowed"), rule("permit", origin="US-OH")], [])
    assert "It is not known where you ship from" in answer.questions[0]


def test_an_animal_that_only_resembles_a_species_is_not_allowed_by_its_rule() -> None:
    unsure = Animal("Porcellio scaber cf.", SCABER.lineage, determined=False)
    assert movement_answer(unsure, way(), [rule("allowed", "Porcellio scaber")], []).standing == Clearance.OPEN
    assert movement_answer(unsure, way(), [rule("forbidden", "Porcellio scaber")], []).standing == Clearance.BLOCKED
    assert movement_answer(unsure, way(), [rule("permit", "Porcellio")], [permit(taxa=("Porcellio scaber",))]).blocks
    some = Animal("Porcellio sp.", ("Porcellio", "Porcellionidae", "Isopoda"), determined=False)
    answer = movement_answer(some, way(), [rule("allowed"), rule("forbidden", "Porcellio scaber")], [])
    assert "is not determined, and the rule for Porcellio scaber may be about it" in answer.questions[0]


def test_conditions_are_noted_and_do_not_block() -> None:
    answer = movement_answer(SCABER, way(), [rule("conditions", conditions="Two barriers against escape")], [])
    assert answer.standing == Clearance.CLEAR
    assert answer.notes[0].endswith("Conditions: Two barriers against escape.")
