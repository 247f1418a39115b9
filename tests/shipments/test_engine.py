"""The engine of check and board, on every box and kit of the demo's packing day, against two others.

First the stored answers of a removed engine, which followed every member's whole curve in double precision. Second
scipy, one member after another, hour by hour, in weather that `plain` makes independently.
"""

import csv
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from breeder.core.thermal.ensemble_draws import draws
from breeder.core.thermal.verdict import GO, NO_GO, NOT_DECIDED, Limits, Tolerance
from breeder.core.transit import box_trials
from breeder.core.transit.delivery_days import Delivery
from breeder.core.transit.place_air import Ends
from breeder.core.transit.results import BoxQuestion
from breeder.core.transit.trial_result import START_C, AnimalNeeds, Candidate, KitTrial
from breeder.core.transit.weather_hours import Hours
from breeder.evaluation.replay.decisions import journey_on, kits
from breeder.management.demo_data.places import ALL_YEAR, SEASONS, RecordedStretch
from breeder.weather import sample_data
from tests.core.transit import plain

KEPT = Path(__file__).with_name("kept_odds.csv")
WAYS = {"doorstep": False, "counter": True}
MEMBERS = 200
SEED = 20130401
ANIMALS = AnimalNeeds(Limits(7.0, 29.0, 4.0, 0.0, 36.0), Tolerance())
POST_ON = date(2013, 5, 13)
HOME = (42.70, -74.92)
# One place of each kind of weather, with its coordinates; the hours are those that the demo shows there.
PLACES = {
    "mild": (40.04, -76.31),
    "cool": (43.66, -70.26),
    "cold": (46.54, -87.40),
    "bitter": (46.79, -92.10),
    "warm": (30.45, -91.15),
    "hot": (32.22, -110.97),
    "short": (43.21, -71.54),
}
ODDS_WITHIN, DEGREES_WITHIN = 0.0005, 0.01
FEW = 4  # members that scipy follows


def hours(kind: str, where: tuple[float, float]) -> Hours:
    """The demo's hours of a place, moved so that its first day is the posting day; the day before is known too."""
    stretch: RecordedStretch = SEASONS[ALL_YEAR][kind]
    read_from = datetime(2013, stretch.month, stretch.day, 4, tzinfo=UTC) - timedelta(days=1)
    known = sample_data.station_slice(stretch.station, read_from, (stretch.days + 1) * 24)
    first = datetime(POST_ON.year, POST_ON.month, POST_ON.day, 4, tzinfo=UTC) - timedelta(days=1)
    number = 10 * 24
    values = tuple([*known, *[None] * number][:number])
    return Hours(
        label=kind, latitude=where[0], longitude=where[1], timezone="America/New_York",
        times=tuple(first + timedelta(hours=step) for step in range(number)), c=values,
        issued=(first + timedelta(hours=30),) * number, extra_sd_c=(0.0,) * number, filled=(False,) * number,
        sources=("recorded",), credits=(),
    )  # fmt: skip


def both_ends(kind: str) -> Ends:
    return Ends(hours("home", HOME), hours(kind, PLACES[kind]))


def asked(kind: str, way: str, candidates: tuple[Candidate, ...] = kits()) -> BoxQuestion:
    journey = journey_on(POST_ON, to_counter=WAYS[way])
    return BoxQuestion(1, journey, (both_ends(kind).airs,), candidates, ANIMALS, SEED)


@cache
def tried(kind: str, way: str) -> dict[str, KitTrial]:
    """What a check says of every kit."""
    trial = box_trials.try_readings(asked(kind, way), MEMBERS)[0]
    return {each.candidate.name: each for each in trial.tried}


def test_every_box_and_kit_of_the_demo_has_the_odds_of_the_engine_that_is_gone() -> None:
    with KEPT.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(kits()) * len(PLACES) * len(WAYS)
    for row in rows:
        trial = tried(row["kind"], row["way"])[row["kit"]]
        outcome, case = trial.outcome, (row["kind"], row["way"], row["kit"])
        assert trial.verdict == row["verdict"], case
        for name, odds in (("comfort", outcome.comfort), ("hard", outcome.hard)):
            assert odds.failed == pytest.approx(float(row[name]), abs=ODDS_WITHIN), case
            assert odds.failed_or_unknown == pytest.approx(float(row[f"{name}_or_unknown"]), abs=ODDS_WITHIN), case
        for name, moment in (("coldest_c", outcome.coldest), ("warmest_c", outcome.warmest)):
            assert moment.quantiles_c[1] == pytest.approx(float(row[name]), abs=DEGREES_WITHIN), case


def test_the_demos_boxes_are_of_every_kind() -> None:
    verdicts = {each.outcome.verdict for kind in PLACES for each in tried(kind, "doorstep").values()}
    assert verdicts == {GO, NO_GO, NOT_DECIDED}


def test_the_board_gives_every_box_and_kit_of_the_demo_the_verdict_of_its_check() -> None:
    for kind, way in product(PLACES, WAYS):
        for name, kit_trial in tried(kind, way).items():
            cell = box_trials.try_boxes([asked(kind, way, (kit_trial.candidate,))], members=MEMBERS)[0]
            assert cell.shown.verdict == kit_trial.verdict, (kind, way, name)


@pytest.mark.parametrize("kit", ["Foam 19 mm", "Foam 38 mm, 72 h pack"])
@pytest.mark.parametrize("kind", ["cold", "hot"])
def test_scipy_alone_comes_to_the_same_extremes_and_hours(kind: str, kit: str) -> None:
    question, ends, drawn = asked(kind, "doorstep"), both_ends(kind), draws(SEED, FEW)
    on_time = replace(question.journey, deliveries=(Delivery(0, 1.0, POST_ON + timedelta(days=1)),))
    candidate = next(each for each in kits() if each.name == kit)
    trial = box_trials.try_readings(replace(question, journey=on_time, candidates=(candidate,)), FEW)[0]
    case, outcome = trial.cases[0], trial.tried[0].outcome
    films = tuple("porch" if case.leg_at(at).label == "doorstep" else "indoors" for at in case.times[:-1])
    weather = plain.around(case, ends, drawn)
    curves = [
        plain.inside_c(candidate.kit, weather[:, member], films, start_c=start, leak=leak, energy=energy)
        for member, (start, leak, energy) in enumerate(
            zip(START_C + drawn.start_offset_k(), drawn.leak_factor(), drawn.pack_energy(), strict=True)
        )
    ]
    lows, highs = ([pick(curve) for curve in curves] for pick in (np.min, np.max))
    assert outcome.coldest.quantiles_c == pytest.approx(np.quantile(lows, (0.05, 0.5, 0.95)), abs=0.02)
    assert outcome.warmest.quantiles_c == pytest.approx(np.quantile(highs, (0.05, 0.5, 0.95)), abs=0.02)
    below, above = (np.mean([flags.mean() for flags in beyond]) for beyond in _beyond(curves))
    assert outcome.hours_below == pytest.approx(below * case.hours, abs=0.1)
    assert outcome.hours_above == pytest.approx(above * case.hours, abs=0.1)
    assert np.nanmean(trial.around[0].ambient_c) == pytest.approx(np.nanmean(weather), abs=1e-3)


def _beyond(curves: list[np.ndarray]) -> tuple[list[np.ndarray], list[np.ndarray]]:
    limits = ANIMALS.limits
    return [curve < limits.low_c for curve in curves], [curve > limits.high_c for curve in curves]
