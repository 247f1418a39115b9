"""The board's quick sums say what the check says: the same members, kits and delay cases."""

from dataclasses import replace
from datetime import date

import pytest

from breeder.dispatch import air, planning, trying
from breeder.dispatch.ambient import Ends
from breeder.dispatch.planning import Asked, Memo, cells_of
from breeder.dispatch.trying import Candidate
from breeder.heat.kit import Box, HeatPack, Kit, Layer, Payload, PhaseChangePack
from breeder.weather.queries import Hours
from tests.dispatch.test_ratchet import ANIMALS, CARD, hours, journey

FOAM = (Layer("eps", 19.0), Layer("corrugated", 4.0))
PAYLOAD = Payload(0.2, cups=4)
WARM = Candidate(
    2,
    "Foam, heat pack",
    4.0,
    Kit(Box((0.25, 0.2, 0.15), FOAM, air_changes_h=1.5), PAYLOAD, packs=(HeatPack(72, 125, -1),)),
)
MELTS = Candidate(
    3, "Foam, 22 °C pack", 5.0, Kit(Box((0.25, 0.2, 0.15), FOAM), PAYLOAD, packs=(PhaseChangePack(0.45, 22, 190, 20),))
)
KITS = (CARD, WARM, MELTS)
MEMBERS = 48


def asked(post_on: date, origin: Hours, destination: Hours, number: int = 1) -> Asked:
    reading = (air.air_of(origin), air.air_of(destination))
    return Asked(number, journey(post_on), (reading,), KITS, ANIMALS, 77)


@pytest.mark.parametrize(
    "post_on", [date(2013, 2, 4), date(2013, 4, 9), date(2013, 7, 15), date(2013, 10, 7), date(2013, 12, 3)]
)
def test_the_board_says_what_the_check_says(post_on: date) -> None:
    ends = Ends(hours(post_on, "LGA"), hours(post_on, "JFK"))
    drawn = planning.drawn_of(77, MEMBERS)
    trial = trying.try_journey(journey(post_on), KITS, ends, ANIMALS, drawn)
    cell = cells_of([asked(post_on, ends.origin, ends.destination)], members=MEMBERS)[0]
    for option in cell.options:
        whole = trial.of_kit(option.candidate.kit_id)
        assert whole is not None
        assert option.verdict == whole.verdict
        if not option.at_least:
            # A member at the edge of an hour may fall on the other side: single precision, two readings an hour.
            assert option.comfort == pytest.approx(whole.outcome.comfort.failed, abs=0.03)
            assert option.hard == pytest.approx(whole.outcome.hard.failed, abs=0.03)
    best = trial.best
    assert (cell.going[0].candidate.kit_id if cell.going else None) == (best and best.candidate.kit_id)


def test_missing_hours_are_not_decided_on_the_board_too() -> None:
    post_on = date(2013, 10, 7)
    gone = hours(post_on, "JFK", lacking=frozenset(range(60, 144)))
    cell = cells_of([asked(post_on, hours(post_on, "LGA"), gone)])[0]
    assert cell.shown.verdict == "not decided"
    assert cell.missing_hours > 0


def test_of_two_readings_the_worse_stands_on_the_board() -> None:
    post_on = date(2013, 10, 7)
    mild, hot = hours(post_on, "JFK"), hours(post_on, "JFK", shift_c=16.0)
    one = asked(post_on, hours(post_on, "LGA"), mild)
    both = replace(one, readings=(*one.readings, (one.readings[0][0], air.air_of(hot))))
    assert cells_of([one])[0].shown.verdict == "go"
    assert cells_of([both])[0].of_kit(1).decided == "no-go"  # type: ignore[union-attr]


def test_only_what_changed_is_reckoned_again() -> None:
    post_on, memo, steps = date(2013, 10, 7), Memo(), []
    rows = [asked(post_on, hours(post_on, "LGA"), hours(post_on, "JFK", shift_c=n / 10), n) for n in range(4)]
    first = cells_of(rows, memo=memo)
    rows[2] = asked(post_on, hours(post_on, "LGA"), hours(post_on, "JFK", shift_c=20.0), 2)
    second = cells_of(rows, memo=memo, told=lambda done, whole: steps.append((done, whole)))
    assert steps == [(4, 4)]
    assert [a.options is b.options for a, b in zip(first, second, strict=True)] == [True, True, False, True]
    assert second[2].shown.decided == "no-go"
