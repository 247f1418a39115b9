"""Compare the two-node box with closed forms and with scipy; times in hours, temperatures in degC."""

import math
from typing import Any

import numpy as np
import pytest
from scipy.integrate import simpson, solve_ivp

from breeder.core.thermal.first_order_hold import first_order_hold
from breeder.core.thermal.reckon import heat

NETWORK = {"outside_w_k": 0.5, "payload_w_k": 1.5, "air_j_k": 600, "payload_j_k": 2500}


def asked(ambient: dict[str, Any], **more: Any) -> dict[str, Any]:
    return heat({"network": NETWORK, "ambient": ambient, "start_c": 20} | more)


def one_node(conductance: float, capacity: float) -> dict[str, Any]:
    """Run a network whose payload is coupled so tightly that air and payload are one node."""
    return {"outside_w_k": conductance, "payload_w_k": 1e3, "air_j_k": capacity / 2, "payload_j_k": capacity / 2}


def test_newton_cooling_in_closed_form() -> None:
    answer = heat(
        {"network": one_node(0.5, 3000), "ambient": {"hours": [0, 24], "c": [0, 0]}, "start_c": 20, "at_hours": [1, 6]}
    )
    assert [row["payload_c"] for row in answer["at"]] == pytest.approx([10.976232722, 0.546474449], abs=0.01)
    assert [row["payload_c"] for row in answer["at"]] == pytest.approx(
        [20 * math.exp(-3600 * hour / 6000) for hour in (1, 6)], abs=0.01
    )


def test_a_ramp_in_closed_form() -> None:
    answer = heat(
        {"network": one_node(0.5, 3000), "ambient": {"hours": [0, 6], "c": [10, 22]}, "start_c": 10, "at_hours": [1, 5]}
    )
    assert [row["payload_c"] for row in answer["at"]] == pytest.approx([10.496038787, 16.832623561], abs=0.01)


def test_the_step_of_the_contract_to_the_digits() -> None:
    answer = asked({"hours": [0, 24], "c": [0, 0]}, at_hours=[1, 6])
    assert answer["at"][0]["air_c"] == pytest.approx(10.074954052, abs=1e-8)
    assert answer["at"][0]["payload_c"] == pytest.approx(12.903258409, abs=1e-8)
    assert answer["at"][1]["air_c"] == pytest.approx(0.944370393, abs=1e-8)
    assert answer["at"][1]["payload_c"] == pytest.approx(1.209480578, abs=1e-8)


def test_the_hold_matrices_to_the_digits() -> None:
    """Computed from the two-node equations (no outside source)."""
    a = np.array([[-2.0 / 600, 1.5 / 600], [1.5 / 2500, -1.5 / 2500]])
    b = np.array([[0.5 / 600, 1 / 600], [0, 0]])
    phi, before, after = first_order_hold(a, b, 3600.0)
    assert phi == pytest.approx(np.array([[0.07950204909, 0.42424565352], [0.10181895684, 0.54334396360]]), abs=1e-10)
    assert before == pytest.approx(
        np.array([[0.15449900701, 0.30899801402], [0.17736021489, 0.35472042977]]), abs=1e-10
    )
    assert after == pytest.approx(np.array([[0.34175329038, 0.68350658076], [0.17747686466, 0.35495372933]]), abs=1e-10)


def day_and_night(hours: int) -> dict[str, list[float]]:
    at = np.arange(hours + 1)
    return {"hours": at.tolist(), "c": (12 + 8 * np.cos(2 * np.pi * (at - 15) / 24)).tolist()}


def test_a_day_and_night_against_scipy() -> None:
    ambient = day_and_night(72)
    answer = asked(ambient, start_c=21, at_hours=[6, 12, 24, 48, 72])
    assert [row["payload_c"] for row in answer["at"]] == pytest.approx(
        [5.93771828, 13.83523263, 10.20347418, 10.2033427, 10.2033427], abs=1e-7
    )

    def slope(second: float, state: np.ndarray) -> list[float]:
        outside = np.interp(second / 3600, ambient["hours"], ambient["c"])
        air, payload = state
        return [
            (0.5 * (outside - air) + 1.5 * (payload - air)) / 600,
            1.5 * (air - payload) / 2500,
        ]

    by_hand = solve_ivp(slope, (0, 72 * 3600), [21, 21], rtol=1e-9, atol=1e-9, max_step=600, t_eval=[24 * 3600])
    assert answer["at"][2]["payload_c"] == pytest.approx(by_hand.y[1, 0], abs=1e-5)


def test_hours_outside_are_read_between_the_hours() -> None:
    """Five-minute reading of the run above, as the contract asks: 26.895 h and 82.55 degree hours below 10 degC."""
    answer = asked(day_and_night(72), start_c=21, limits={"low_c": 10, "high_c": 30})
    assert answer["hours_below"] == pytest.approx(26.895, abs=0.01)
    assert answer["degree_hours_below"] == pytest.approx(82.55, abs=0.03)
    assert answer["hours_above"] == 0


@pytest.mark.parametrize(
    ("tau_h", "ratio", "lag_h"),
    [(1, 0.967397, 0.978050), (2, 0.885908, 1.842433), (5, 0.607068, 3.508147), (10, 0.356827, 4.606303)],
)
def test_a_24_hour_swing_is_damped_and_late_as_in_closed_form(tau_h: float, ratio: float, lag_h: float) -> None:
    """1/sqrt(1 + (w tau)^2) and atan(w tau)/w; hourly-straight weather differs from the cosine by under 0.4 %."""
    at = np.arange(0, 241, 0.25)
    weather = {"hours": at.tolist(), "c": (10 * np.cos(2 * np.pi * at / 24)).tolist()}
    answer = heat(
        {"network": one_node(1.0, 3600 * tau_h), "ambient": weather, "start_c": 0, "at_hours": at[at >= 216].tolist()}
    )
    inside = np.array([row["payload_c"] for row in answer["at"]])
    assert inside.max() / 10 == pytest.approx(ratio, abs=0.002)
    assert at[at >= 216][inside.argmax()] % 24 == pytest.approx(lag_h, abs=0.15)


def test_steady_power_warms_by_power_over_conductance() -> None:
    answer = asked({"hours": [0, 200], "c": [0, 0]}, power={"hours": [0, 200], "w": [1.4, 1.4]}, at_hours=[200])
    assert answer["at"][0]["payload_c"] == pytest.approx(2.8, abs=1e-6)


def test_energy_closes_to_a_millionth_of_the_throughput() -> None:
    """The heat through the wall equals what air and payload lost plus what the heater gave."""
    minutes = np.arange(0, 12 * 60 + 1)
    power = {"hours": [0, 12], "w": [1.0, 1.0]}
    rows = asked({"hours": [0, 12], "c": [0, 0]}, power=power, at_hours=(minutes / 60).tolist())["at"]
    air = np.array([row["air_c"] for row in rows])
    out_j = simpson(0.5 * air, x=minutes * 60.0)
    given_j = 600 * (20 - air[-1]) + 2500 * (20 - rows[-1]["payload_c"]) + 12 * 3600 * 1.0
    assert out_j == pytest.approx(given_j, rel=1e-6)


ICE = {"melt_c": 0, "latent_kj_kg": 333.55, "width_k": 0.2, "solid_j_kgk": 2100, "liquid_j_kgk": 4186}
MELTING = {"melt_c": 22, "latent_kj_kg": 190, "width_k": 1.0, "solid_j_kgk": 1800, "liquid_j_kgk": 2000}


@pytest.mark.parametrize(
    ("pack", "expected"),
    [
        (ICE | {"start_c": -18}, [12.3264, 30.2734, 27.9309, 27.9694]),
        (MELTING | {"start_c": 5}, [22.2987, 25.6051, 27.1740, 27.2685]),
    ],
    ids=["ice from -18", "22 degC pack from 5"],
)
def test_cold_and_melting_packs_against_a_fine_integration(pack: dict[str, float], expected: list[float]) -> None:
    """LSODA on the enthalpy curve, integrated here; also digits computed once (no outside source)."""
    pack = {"kg": 0.45, "contact_w_k": 1.5} | pack
    at = np.arange(0, 48.01, 0.25)
    weather = {"hours": at.tolist(), "c": (30 + 8 * np.sin(2 * np.pi * (at - 8) / 24)).tolist()}
    document = {"network": NETWORK, "ambient": weather, "start_c": 22, "packs": [{"kind": "phase_change"} | pack]}
    reached = [row["payload_c"] for row in heat(document | {"at_hours": [6, 12, 24, 48]})["at"]]
    assert reached == pytest.approx(integrated(pack, weather), abs=0.003)
    assert reached == pytest.approx(expected, abs=0.004)


def integrated(pack: dict[str, float], weather: dict[str, list[float]]) -> list[float]:
    kg, melt, width, contact = (pack[name] for name in ("kg", "melt_c", "width_k", "contact_w_k"))
    solid, liquid = pack["solid_j_kgk"], pack["liquid_j_kgk"]
    mush = kg * (pack["latent_kj_kg"] * 1000 + width * (solid + liquid) / 2)
    low = melt - width / 2

    def pack_c(stored: float) -> float:
        if stored < 0:
            return low + stored / (kg * solid)
        return low + width * stored / mush if stored < mush else low + width + (stored - mush) / (kg * liquid)

    def slope(second: float, state: np.ndarray) -> list[float]:
        outside = np.interp(second / 3600, weather["hours"], weather["c"])
        air, payload, stored = state
        into_pack = contact * (air - pack_c(stored))
        return [
            (0.5 * (outside - air) + 1.5 * (payload - air) - into_pack) / 600,
            1.5 * (air - payload) / 2500,
            into_pack,
        ]

    start = [22, 22, kg * solid * (pack["start_c"] - low)]
    seconds = [3600 * hour for hour in (6, 12, 24, 48)]
    solution = solve_ivp(
        slope, (0, 48 * 3600), start, method="LSODA", rtol=1e-8, atol=1e-6, max_step=300, t_eval=seconds
    )
    return solution.y[1].tolist()
