"""The board's quick box_trials agrees with the check: the same members, kits and delay cases."""

import pickle
from collections import deque
from dataclasses import replace
from datetime import date, time, timedelta
from functools import partial
from queue import SimpleQueue

import numpy as np
import pytest
from numpy.typing import NDArray

from breeder.base import worker
from breeder.core.thermal.kit import HeatPack, Payload, PhaseChangePack, ShippingBox, ThermalKit, WallLayer
from breeder.core.thermal.verdict import Limits
from breeder.core.transit import ambient_ensemble, box_trials, place_air
from breeder.core.transit.box_trials import try_boxes
from breeder.core.transit.exposure import USUAL, Template
from breeder.core.transit.place_air import Ends
from breeder.core.transit.result_cache import ResultCache
from breeder.core.transit.results import BoxQuestion, Cell
from breeder.core.transit.tally import JourneyConditions
from breeder.core.transit.trial_result import Candidate
from breeder.core.transit.weather_hours import Hours
from tests.core.transit import plain
from tests.shipments.test_ratchet import ANIMALS, CARD, hours, journey

FOAM = (WallLayer("eps", 19.0), WallLayer("corrugated", 4.0))
PAYLOAD = Payload(0.2, cups=4)
WARM = Candidate(
    2,
    "Foam, heat pack",
    4.0,
    ThermalKit(ShippingBox((0.25, 0.2, 0.15), FOAM, air_changes_h=1.5), PAYLOAD, packs=(HeatPack(72, 125, -1),)),
)
MELTS = Candidate(
    3,
    "Foam, 22 °C pack",
    5.0,
    ThermalKit(ShippingBox((0.25, 0.2, 0.15), FOAM), PAYLOAD, packs=(PhaseChangePack(0.45, 22, 190, 20),)),
)
KITS = (CARD, WARM, MELTS)
MEMBERS = 48


def asked(post_on: date, origin: Hours, destination: Hours, number: int = 1) -> BoxQuestion:
    reading = (place_air.hours_to_air(origin), place_air.hours_to_air(destination))
    return BoxQuestion(number, journey(post_on), (reading,), KITS, ANIMALS, 77)


@pytest.mark.parametrize(
    "post_on", [date(2013, 2, 4), date(2013, 4, 9), date(2013, 7, 15), date(2013, 10, 7), date(2013, 12, 3)]
)
def test_the_board_says_what_the_check_says(post_on: date) -> None:
    ends = Ends(hours(post_on, "LGA"), hours(post_on, "JFK"))
    question = asked(post_on, ends.origin, ends.destination)
    trial, cell = box_trials.try_readings(question, MEMBERS)[0], try_boxes([question], members=MEMBERS)[0]
    for option in cell.options:
        whole = trial.of_kit(option.candidate.kit_id)
        assert whole is not None
        assert option.verdict == whole.verdict
        if not option.at_least:
            # A member close to a limit may fall on the other side: the board reads only twice an hour.
            assert option.comfort == pytest.approx(whole.outcome.comfort.failed, abs=0.03)
            assert option.hard == pytest.approx(whole.outcome.hard.failed, abs=0.03)
    best = trial.best
    assert (cell.going[0].candidate.kit_id if cell.going else None) == (best and best.candidate.kit_id)


def test_missing_hours_are_not_decided_on_the_board_too() -> None:
    post_on = date(2013, 10, 7)
    gone = hours(post_on, "JFK", lacking=frozenset(range(60, 144)))
    cell = try_boxes([asked(post_on, hours(post_on, "LGA"), gone)])[0]
    assert cell.shown.verdict == "not decided"
    assert cell.missing_hours > 0


def test_of_two_readings_the_worse_stands_on_the_board() -> None:
    post_on = date(2013, 10, 7)
    mild, hot = hours(post_on, "JFK"), hours(post_on, "JFK", shift_c=16.0)
    question = asked(post_on, hours(post_on, "LGA"), mild)
    both = replace(question, readings=(*question.readings, (question.readings[0][0], place_air.hours_to_air(hot))))
    assert try_boxes([question])[0].shown.verdict == "go"
    assert try_boxes([both])[0].of_kit(1).decided == "no-go"  # type: ignore[union-attr]


def test_only_what_changed_is_reckoned_again() -> None:
    post_on, memo, steps = date(2013, 10, 7), ResultCache(), []
    rows = [asked(post_on, hours(post_on, "LGA"), hours(post_on, "JFK", shift_c=n / 10), n) for n in range(4)]
    first = try_boxes(rows, memo=memo)
    rows[2] = asked(post_on, hours(post_on, "LGA"), hours(post_on, "JFK", shift_c=20.0), 2)
    second = try_boxes(rows, memo=memo, on_progress=lambda done, whole: steps.append((done, whole)))
    assert steps == [(4, 4)]
    assert [a.options is b.options for a, b in zip(first, second, strict=True)] == [True, True, False, True]
    assert second[2].shown.decided == "no-go"


TRAILER_AND_SHADE = Template(time(18), 2.0, 12.0, 0.6, (0.0, 0.25))


@pytest.mark.parametrize("template", [USUAL, TRAILER_AND_SHADE])
@pytest.mark.parametrize("post_on", [date(2013, 4, 9), date(2013, 7, 15), date(2013, 12, 3)])
def test_what_surrounds_a_box_is_what_plain_steps_make_of_the_same_draws(post_on: date, template: Template) -> None:
    question = asked(post_on, hours(post_on, "LGA"), hours(post_on, "JFK"))
    times = replace(question.journey.times, template=template)
    question = replace(question, journey=replace(question.journey, times=times))
    origin, destination = question.readings[0]
    drawn = box_trials.shared_draws(77, MEMBERS)
    shape = ambient_ensemble.journey_shape(question.journey, origin.hours, destination.hours)
    quick = ambient_ensemble.MemberAir(drawn).ambient_cases(shape, origin, destination)
    for case, surroundings in zip(shape.cases, quick, strict=True):
        whole = plain.around(case, Ends(origin.hours, destination.hours), drawn)
        assert pytest.approx(whole, abs=1e-4) == surroundings.ambient_c.T
        stands = [case.leg_at(at).label for at in case.times[:-1]]
        assert surroundings.film_by_hour == tuple("porch" if leg == "doorstep" else "indoors" for leg in stands)


@pytest.mark.parametrize("post_on", [date(2013, 4, 25), date(2013, 5, 14), date(2013, 10, 7)])
def test_leaving_out_members_that_cannot_leave_comfort_changes_nothing(
    post_on: date, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = [asked(post_on, hours(post_on, "LGA"), hours(post_on, "JFK", shift_c=float(n))) for n in (-6, -3, 0, 3)]
    quick, left_out = try_boxes(rows), []

    def everybody(way: JourneyConditions, case: int, limits: Limits) -> NDArray[np.bool_]:
        left_out.append(int((~may_leave(way, case, limits)).sum()))
        return np.ones(way.drawn.members, bool)

    may_leave = JourneyConditions.may_leave
    monkeypatch.setattr(JourneyConditions, "may_leave", everybody)
    whole = try_boxes(rows)
    assert sum(left_out) > MEMBERS
    for cell, other in zip(quick, whole, strict=True):
        # In single precision the hour of the worst moves a little with the company that a member keeps.
        assert [replace(option, hour=0.0) for option in cell.options] == [
            replace(option, hour=0.0) for option in other.options
        ]


def test_where_hours_lack_for_any_go_the_cheapest_open_kit_speaks_for_the_dearer_ones() -> None:
    post_on = date(2013, 10, 7)
    gone = hours(post_on, "JFK", lacking=frozenset(range(60, 144)))
    question = asked(post_on, hours(post_on, "LGA"), gone)
    assert box_trials.try_readings(question, MEMBERS)[0].best is None
    cell = try_boxes([question], members=MEMBERS)[0]
    assert [option.candidate.kit_id for option in cell.options] == [CARD.kit_id]
    assert cell.shown.decided == "not decided"


@pytest.mark.parametrize("post_on", [date(2013, 6, 3), date(2013, 9, 16), date(2013, 11, 7)])
def test_where_two_cheap_kits_go_but_not_easily_the_board_takes_the_dearer_one_of_the_check(post_on: date) -> None:
    foam = Candidate(4, "Foam", 2.0, ThermalKit(ShippingBox((0.25, 0.2, 0.15), FOAM), PAYLOAD))
    kits, ends = (CARD, foam, WARM, MELTS), Ends(hours(post_on, "LGA"), hours(post_on, "JFK"))
    whole = replace(asked(post_on, ends.origin, ends.destination), candidates=kits)
    trial = box_trials.try_readings(whole, MEMBERS)[0]
    assert [each.outcome.verdict for each in trial.tried[:2]] == ["go", "go"]
    assert trial.best is not None
    assert trial.best.candidate is MELTS
    assert try_boxes([whole], members=MEMBERS)[0].going[0].candidate is MELTS


def test_a_second_process_finds_the_same_cells() -> None:
    post_on = date(2013, 4, 9)
    days = [post_on + timedelta(days=ahead) for ahead in range(7)]
    rows = [asked(day, hours(day, "LGA"), hours(day, "JFK"), number) for number, day in enumerate(days)]
    alone = try_boxes(rows)
    work = partial(box_trials.try_block, members=box_trials.SCREENED)
    waiting, done = deque(range(len(rows))), SimpleQueue[tuple[int, list[Cell]]]()
    worker._feed([pickle.dumps((work, [row])) for row in rows], waiting, done)
    assert not waiting
    beside = [cell for _, cells in sorted(worker._finished(done), key=lambda each: each[0]) for cell in cells]
    for cell, other in zip(beside, alone, strict=True):
        assert (cell.number, cell.on, cell.missing_hours, cell.shape) == (
            other.number, other.on, other.missing_hours, other.shape,
        )  # fmt: skip
        # What a block holds besides decides in which order a product is summed: a millionth of an hour.
        assert [replace(each, hour=0.0) for each in cell.options] == [replace(each, hour=0.0) for each in other.options]
        assert [each.hour for each in cell.options] == pytest.approx([each.hour for each in other.options], abs=1e-3)
    assert len({cell.shown.verdict for cell in beside}) > 1
