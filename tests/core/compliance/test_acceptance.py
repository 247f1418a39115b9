"""Test whether a carrier takes an animal: group, season, longest planned transit, marking.

The season (1 March to 31 October) and the three working days are those of the Canadian post for live small
cold-blooded animals (read in a copy of its ABCs of mailing).
"""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from breeder.core.compliance.acceptance import Carriage, CarriageRule, carriage_answer, in_season
from breeder.core.compliance.facts import Animal, Clearance

SCABER = Animal("Porcellio scaber", ("Porcellio scaber", "Porcellio", "Porcellionidae", "Isopoda", "Crustacea"))
CARRIAGE = Carriage("Post", 3, "Post two-day", 4, "CA-ON", "CA-QC", date(2026, 5, 4))


def carries(takes: str = "takes", taxon: str = "Isopoda", **values: Any) -> CarriageRule:
    looked = {"checked_on": date(2026, 1, 5), "recheck_on": date(2027, 1, 5), "citation": "ABCs of mailing"}
    return CarriageRule("Post", values.pop("service_id", None), taxon, takes, **(looked | values))


def test_a_carrier_of_which_nothing_is_known_is_asked_about() -> None:
    answer = carriage_answer(SCABER, CARRIAGE, [carries("refuses", "Isopoda", service_id=9)])
    assert answer.questions == ("There is no record of whether Post takes Porcellio scaber. Ask the carrier.",)


def test_a_carrier_that_refuses_a_group_blocks_it() -> None:
    answer = carriage_answer(SCABER, CARRIAGE, [carries("refuses", "Crustacea")])
    assert answer.blocks[0].startswith(
        "Post two-day does not take Porcellio scaber alive: ABCs of mailing, looked up on"
    )


def test_the_service_counts_before_its_carrier_and_the_species_before_its_order() -> None:
    refused = carries("refuses", "Isopoda")
    assert carriage_answer(SCABER, CARRIAGE, [refused, carries(service_id=3)]).standing == Clearance.CLEAR
    assert carriage_answer(SCABER, CARRIAGE, [refused, carries(taxon="Porcellio scaber")]).standing == Clearance.CLEAR
    both = [carries("refuses", "Isopoda", service_id=3), carries(taxon="Porcellio scaber")]
    assert carriage_answer(SCABER, CARRIAGE, both).standing == Clearance.BLOCKED


@pytest.mark.parametrize(
    ("on", "takes"), [("03-01", True), ("10-31", True), ("02-28", False), ("11-01", False), ("02-29", False)]
)
def test_a_season_holds_its_first_and_last_day(on: str, takes: bool) -> None:
    day = date.fromisoformat(f"2028-{on}")
    rule = carries(season_from="03-01", season_until="10-31")
    answer = carriage_answer(SCABER, replace(CARRIAGE, on=day), [replace(rule, recheck_on=date(2030, 1, 1))])
    assert (answer.standing == Clearance.CLEAR) == takes
    if not takes:
        assert "only from 1 March to 31 October" in answer.blocks[0]


def test_a_season_may_pass_over_the_new_year() -> None:
    assert in_season(date(2026, 12, 24), "11-01", "02-15")
    assert in_season(date(2026, 2, 15), "11-01", "02-15")
    assert not in_season(date(2026, 2, 16), "11-01", "02-15")


def test_while_the_day_is_open_no_season_is_asked() -> None:
    rule = carries(season_from="07-01", season_until="07-31")
    assert carriage_answer(SCABER, replace(CARRIAGE, on=None), [rule]).standing == Clearance.CLEAR


def test_a_longer_planned_transit_than_allowed_blocks() -> None:
    answer = carriage_answer(SCABER, CARRIAGE, [carries(most_days=3)])
    assert "only where 3 working days are enough, and it is planned for 4" in answer.blocks[0]
    assert "only where 1 working day is enough" in carriage_answer(SCABER, CARRIAGE, [carries(most_days=1)]).blocks[0]
    assert carriage_answer(SCABER, replace(CARRIAGE, latest_days=3), [carries(most_days=3)]).standing == Clearance.CLEAR


def test_domestic_only_blocks_what_leaves_the_country() -> None:
    rule = carries(domestic_only=True)
    assert carriage_answer(SCABER, CARRIAGE, [rule]).standing == Clearance.CLEAR
    assert (
        "only within the country" in carriage_answer(SCABER, replace(CARRIAGE, destination="US-NY"), [rule]).blocks[0]
    )
    assert carriage_answer(SCABER, replace(CARRIAGE, destination=""), [rule]).standing == Clearance.CLEAR


def test_an_example_warns_and_never_blocks() -> None:
    answer = carriage_answer(SCABER, CARRIAGE, [carries("refuses", verified=False, checked_on=None)])
    assert answer.standing == Clearance.OPEN
    assert "An unverified example says: Post two-day does not take Porcellio scaber alive" in answer.questions[1]


def test_marking_and_agreement_are_in_the_notes() -> None:
    answer = carriage_answer(
        SCABER, CARRIAGE, [carries("agreement", marking="LIVE ANIMALS", conditions="Signed first")]
    )
    assert answer.standing == Clearance.CLEAR
    assert "LIVE ANIMALS" in answer.notes[0]
    assert "only under an agreement" in answer.notes[1]


def test_what_was_looked_up_long_ago_is_asked_again() -> None:
    assert carriage_answer(SCABER, CARRIAGE, [carries(recheck_on=date(2025, 1, 1))]).standing == Clearance.OPEN
