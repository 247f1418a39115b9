"""In harsh air nothing goes to a doorstep without a pack, whatever its odds (common practice, no source)."""

from dataclasses import replace
from datetime import date

import pytest

from breeder.core.thermal.kit import HeatPack, Payload, ShippingBox, ThermalKit, WallLayer
from breeder.core.thermal.verdict import NO_GO, Limits, Tolerance
from breeder.core.transit import ambient_ensemble, box_trials, place_air, rule_of_thumb
from breeder.core.transit.place_air import Ends
from breeder.core.transit.results import BoxQuestion, Cell
from breeder.core.transit.trial_result import AnimalNeeds, Candidate, Trial
from breeder.core.transit.weather_hours import Hours
from breeder.shipments import check_json, check_text
from breeder.shipments.board_page import reason_text
from tests.shipments.test_ratchet import CARD, hours, journey

POST_ON = date(2013, 10, 7)
MEMBERS = 48
# AnimalNeeds that tolerate anything, so that only the rule can say no.
HARDY = AnimalNeeds(Limits(-40.0, 60.0, 4.0, -41.0, 61.0), Tolerance())
PACKED = Candidate(
    2,
    "Card, pack",
    4.0,
    ThermalKit(
        ShippingBox((0.25, 0.2, 0.15), (WallLayer("corrugated", 4.0),)), Payload(0.2), packs=(HeatPack(72, 125),)
    ),
)


def steady(outside_c: float) -> Hours:
    real = hours(POST_ON, "LGA")
    return replace(real, c=(outside_c,) * len(real.c))


def both(outside_c: float, *, to_counter: bool = False, candidates: tuple[Candidate, ...]) -> tuple[Trial, Cell]:
    """What a check and the board say of the same way."""
    way, ends = replace(journey(POST_ON), to_counter=to_counter), Ends(steady(18.0), steady(outside_c))
    asked = BoxQuestion(1, way, (ends.airs,), candidates, HARDY, 77)
    return box_trials.try_readings(asked, MEMBERS)[0], box_trials.try_boxes([asked])[0]


@pytest.mark.parametrize("outside_c", [-5.1, -20.0, 35.1, 41.0])
def test_a_box_without_a_pack_stays_here_and_one_with_a_pack_goes(outside_c: float) -> None:
    trial, cell = both(outside_c, candidates=(CARD, PACKED))
    assert [each.verdict for each in trial.tried] == ["no-go", "with pack"]
    assert [each.verdict for each in cell.options] == ["no-go", "with pack"]
    assert trial.best is not None
    assert trial.best.candidate == cell.going[0].candidate == PACKED


@pytest.mark.parametrize("outside_c", [-4.9, 34.9])
def test_up_to_there_the_odds_decide(outside_c: float) -> None:
    trial, cell = both(outside_c, candidates=(CARD, PACKED))
    assert trial.tried[0].verdict == cell.options[0].verdict == "go"


@pytest.mark.parametrize("outside_c", [-12.0, 39.0])
def test_at_a_counter_the_odds_decide(outside_c: float) -> None:
    trial, cell = both(outside_c, to_counter=True, candidates=(CARD,))
    assert trial.tried[0].verdict == cell.options[0].verdict == "go"


def test_the_reason_names_the_rule_and_not_an_hour_that_failed() -> None:
    trial, cell = both(-12.0, candidates=(CARD,))
    shown = trial.calmest
    assert shown.outcome.verdict == NO_GO
    because = check_text.reason_texts(shown, trial.cases, (), cell.destination_zone, fahrenheit=False)
    assert because[0] == rule_of_thumb.HARSH_TEXT
    assert reason_text(cell, cell.shown).startswith(rule_of_thumb.HARSH_TEXT)
    assert "Comfort never" in reason_text(cell, cell.shown)
    assert check_json.kit_note(shown) == "too harsh without a pack"
    lacking = replace(shown, candidate=replace(CARD, note="Card box: 1 needed, 0 on the shelf"))
    assert check_json.kit_note(lacking) == "Card box: 1 needed, 0 on the shelf; too harsh without a pack"


def test_a_kit_that_fails_by_its_odds_has_those_for_its_reason() -> None:
    way, ends = journey(POST_ON), Ends(steady(18.0), steady(-12.0))
    tender = AnimalNeeds(Limits(19.0, 20.0, 0.0, 18.0, 21.0), Tolerance())
    asked = BoxQuestion(1, way, (ends.airs,), (CARD,), tender, 77)
    shown, option = box_trials.try_readings(asked, MEMBERS)[0].calmest, box_trials.try_boxes([asked])[0].shown
    assert (shown.verdict, option.verdict) == ("no-go", "no-go")
    assert not shown.is_barred
    assert not option.is_barred


def test_air_that_is_never_met_does_not_count() -> None:
    """The box has left its origin before the night falls there."""
    way = journey(POST_ON)
    origin = steady(18.0)
    shape = ambient_ensemble.journey_shape(way, origin, steady(15.0))
    gone = shape.cases[0].times[-2]
    cold = replace(origin, c=tuple(-30.0 if at >= gone else 18.0 for at in origin.times))
    assert ambient_ensemble.air_at_ends(shape, place_air.hours_to_air(cold), place_air.hours_to_air(steady(15.0))) == (
        15.0,
        18.0,
    )


def test_where_hours_are_missing_nothing_is_decided_in_harsh_air_either() -> None:
    cold = steady(-12.0)
    half = replace(cold, c=tuple(None if place > 110 else value for place, value in enumerate(cold.c)))
    ends = Ends(steady(-12.0), half)
    asked = BoxQuestion(1, journey(POST_ON), (ends.airs,), (CARD,), HARDY, 77)
    shown, option = box_trials.try_readings(asked, MEMBERS)[0].tried[0], box_trials.try_boxes([asked])[0].shown
    assert (shown.verdict, option.verdict) == ("not decided", "not decided")


def test_without_hours_nothing_is_called_harsh() -> None:
    nothing = replace(steady(0.0), c=(None,) * len(steady(0.0).c))
    shape = ambient_ensemble.journey_shape(journey(POST_ON), nothing, nothing)
    assert not rule_of_thumb.is_harsh(
        *ambient_ensemble.air_at_ends(shape, place_air.hours_to_air(nothing), place_air.hours_to_air(nothing))
    )
