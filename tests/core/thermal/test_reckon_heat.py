"""Test `reckon heat` and `reckon check`: real kits, packs, faults with their paths, warnings."""

import copy
import json
from typing import Any

import pytest

from breeder.core.jsonio.duplicate_keys import load
from breeder.core.jsonio.errors import BadInput
from breeder.core.thermal.reckon import check, heat

KIT: dict[str, Any] = {
    "box": {
        "inner_m": [0.25, 0.20, 0.15],
        "layers": [{"material": "eps", "mm": 19}, {"material": "corrugated", "mm": 4}],
        "inside_film_w_m2k": 6,
        "outside_film_w_m2k": 8.3,
        "leak_factor": 1.0,
        "air_changes_h": 0.6,
    },
    "payload": {"kg": 0.45, "water_share": 0.7, "cups": 8},
    "ballast_kg": 0.5,
    "packs": [
        {"kind": "heat", "rated_h": 72, "grams": 125, "lit_h": -1},
        {"kind": "phase_change", "kg": 0.45, "melt_c": 22, "latent_kj_kg": 190, "start_c": 5},
    ],
}
WEATHER: dict[str, Any] = {
    "ambient": {"hours": [0, 48], "c": [30, 30]},
    "start_c": 21,
    "limits": {"low_c": 7, "high_c": 29},
}
NETWORK = {"outside_w_k": 0.5, "payload_w_k": 1.5, "air_j_k": 600, "payload_j_k": 2500}
PLAIN: dict[str, Any] = {"network": NETWORK, "ambient": {"hours": [0, 24], "c": [0, 0]}, "start_c": 20}


def changed(document: dict[str, Any], path: str, value: Any) -> dict[str, Any]:
    """Return a copy with the field at a dotted path changed."""
    new = copy.deepcopy(document)
    *way, last = path.split(".")
    inner: Any = new
    for step in way:
        inner = inner[int(step)] if step.isdigit() else inner[step]
    inner[last] = value
    return new


def refused(subject: Any, document: dict[str, Any]) -> dict[str, str]:
    with pytest.raises(BadInput) as refusal:
        subject(load(json.dumps(document)))
    return {fault.path: fault.sentence for fault in refusal.value.faults}


def test_a_whole_kit_answers_every_field_of_the_contract() -> None:
    answer = heat(load(json.dumps(KIT | WEATHER)))
    assert answer["contract"] == 1
    assert answer["conductance_w_k"] == pytest.approx(0.3031, abs=6e-5)
    assert answer["network"]["model"] == "air, payload, foam and board"
    assert answer["network"]["payload_j_k"] == pytest.approx(0.45 * 3332.2 + 0.5 * 4186, abs=0.5)
    assert [row["hour"] for row in answer["at"]] == list(range(49))
    warm, melting = answer["packs"]
    assert (warm["energy_kj"], warm["mean_w"]) == (pytest.approx(382.5), pytest.approx(1.4757, abs=1e-4))
    assert melting["energy_kj"] == pytest.approx(85.5)
    assert {"payload_min_c", "payload_min_hour", "payload_max_c", "payload_max_hour"} <= set(answer)
    assert answer["hours_above"] > 0
    assert answer["degree_hours_above"] > 0
    json.dumps(answer, allow_nan=False)


def test_the_two_node_box_of_the_answer_can_be_asked_again() -> None:
    """The lined box has four nodes; its two-node box, fed back, stays within the 0.1 K that it is good for."""
    plain = {name: value for name, value in KIT.items() if name != "packs"}
    weather = {"ambient": {"hours": [0, 6, 12, 18, 24, 30, 36], "c": [21, 2, 12, 4, -3, 8, 1]}, "start_c": 21}
    lined = heat(plain | weather)
    again = heat({"network": lined["network"]["two_nodes"]} | weather)
    gap = [row["payload_c"] - two["payload_c"] for row, two in zip(lined["at"], again["at"], strict=True)]
    assert (sum(each**2 for each in gap) / len(gap)) ** 0.5 < 0.1


def test_hours_need_not_be_whole_nor_in_order_and_come_back_as_asked() -> None:
    answer = heat(PLAIN | {"at_hours": [6, 1.5, 0]})
    assert [row["hour"] for row in answer["at"]] == [6, 1.5, 0]
    assert answer["at"][2]["payload_c"] == 20
    assert answer["payload_min_hour"] == 6  # the run ends at the last hour that was asked for


def test_a_series_keeps_its_nearest_value_outside_its_points() -> None:
    short = heat(PLAIN | {"ambient": {"hours": [0, 2], "c": [10, 4]}, "at_hours": [30]})
    long = heat(PLAIN | {"ambient": {"hours": [0, 2, 30], "c": [10, 4, 4]}, "at_hours": [30]})
    assert short["at"][0]["payload_c"] == pytest.approx(long["at"][0]["payload_c"], abs=1e-9)


def test_oxygen_limits_a_bare_network_only_where_its_air_is_given() -> None:
    pack = {"packs": [{"kind": "heat", "rated_h": 72}]}
    plenty = heat(PLAIN | pack)
    scarce = heat(PLAIN | pack | {"network": NETWORK | {"free_litres": 6, "air_changes_h": 0.3}})
    assert plenty["packs"][0]["oxygen_share"] == 1.0
    assert scarce["packs"][0]["given_kj"] < plenty["packs"][0]["given_kj"]
    assert any("Oxygen" in note for note in scarce["notes"])
    whole = heat(PLAIN | pack | {"network": NETWORK | {"free_litres": 6, "air_changes_h": 0.3}, "at_hours": [240]})
    assert whole["packs"][0]["given_kj"] == pytest.approx(382.5, rel=0.01)


def test_a_heater_and_packs_add_up() -> None:
    pack, heater = [{"kind": "heat", "rated_h": 72}], {"hours": [0, 24], "w": [1, 1]}
    rises = [
        heat(PLAIN | more | {"at_hours": [24]})["at"][0]["payload_c"]
        - heat(PLAIN | {"at_hours": [24]})["at"][0]["payload_c"]
        for more in ({"packs": pack}, {"power": heater}, {"packs": pack, "power": heater})
    ]
    assert rises[2] == pytest.approx(rises[0] + rises[1], abs=1e-6)


def test_melting_ice_holds_for_as_long_as_its_heat_lasts() -> None:
    """m L / (UA dT): 0.5 kg at 25 K, with a contact of 1.5 W/K in series with 0.5 W/K: UA 0.375 (closed form)."""
    ice = {"kind": "phase_change", "kg": 0.5, "melt_c": 0, "latent_kj_kg": 333.55, "contact_w_k": 1.5}
    document = {
        "network": {"outside_w_k": 0.5, "payload_w_k": 1e-3, "air_j_k": 1, "payload_j_k": 1},
        "ambient": {"hours": [0, 3], "c": [25, 25]},
        "start_c": 6.25,  # the balance of the air between outside and ice
        "packs": [ice | {"width_k": 0.05, "start_c": -0.025}],  # completely frozen, about to melt
    }
    taken = heat(document)["packs"][0]["taken_up_kj"]
    assert taken == pytest.approx(0.375 * 25 * 3 * 3.6, rel=2e-3)


def test_a_pack_from_the_freezer_is_named_a_chill_hazard() -> None:
    frozen = {"kind": "phase_change", "kg": 0.45, "melt_c": 0, "latent_kj_kg": 320, "start_c": -18}
    notes = heat(KIT | WEATHER | {"packs": [frozen]})["notes"]
    assert any(note.startswith("Chill:") for note in notes)
    assert not any(note.startswith("Chill:") for note in heat(KIT | WEATHER)["notes"])


def test_a_heat_pack_in_warm_weather_is_named_a_hazard_with_its_degrees() -> None:
    notes = " ".join(heat(KIT | WEATHER | {"packs": KIT["packs"][:1]})["notes"])
    assert "above the limit of 29 degC" in notes
    assert "57 degC" in notes


def test_a_heat_pack_stalls_in_deep_frost_with_a_warning() -> None:
    frost = {"ambient": {"hours": [0, 48], "c": [-25, -25]}}
    answer = heat(KIT | WEATHER | {"packs": KIT["packs"][:1]} | frost)
    assert any("freezes and stalls" in note for note in answer["notes"])
    assert answer["at"][-1]["payload_c"] < -24


@pytest.mark.parametrize(
    ("path", "value", "at"),
    [
        ("box.layers.0.mm", -3, "box.layers[0].mm"),
        ("box.layers.0.material", "straw", "box.layers[0].material"),
        ("box.inner_m", [0.25, 0.2], "box.inner_m"),
        ("box.inner_m", [0.25, 0.2, True], "box.inner_m[2]"),
        ("box.lid", 1, "box.lid"),
        ("box.air_changes_h", 0, "box.air_changes_h"),
        ("payload.cups", 2.5, "payload.cups"),
        ("payload.kg", 30, "payload.kg"),
        ("packs.0.kind", "dry ice", "packs[0].kind"),
        ("packs.1.width_k", 0, "packs[1].width_k"),
        ("ambient.c", [30], "ambient.c"),
        ("ambient.hours", [0, 0], "ambient.hours[1]"),
        ("ambient.hours", [1, 2], "ambient.hours[0]"),
        ("limits.high_c", 5, "limits.high_c"),
        ("start_c", None, "start_c"),
        ("seed", 1, "seed"),
        ("network", NETWORK, "document"),
    ],
)
def test_a_fault_is_named_at_its_place(path: str, value: Any, at: str) -> None:
    faults = refused(heat, changed(KIT | WEATHER, path, value))
    assert set(faults) == {at}
    assert faults[at].endswith(".")


def test_what_belongs_to_a_box_is_unknown_beside_a_network() -> None:
    assert set(refused(heat, PLAIN | {"payload": {"kg": 1}, "ballast_kg": 1})) == {"payload", "ballast_kg"}


def test_all_faults_of_a_kit_come_at_once() -> None:
    document = changed(changed(KIT | WEATHER, "box.layers.0.mm", -3), "box.leak_factor", True)
    document = changed(changed(document, "packs.0.rated_h", "x"), "ambient.c", [1, 2, 3])
    assert set(refused(heat, document)) == {"box.layers[0].mm", "box.leak_factor", "packs[0].rated_h", "ambient.c"}


CHECK: dict[str, Any] = {
    "kit": {"network": NETWORK},
    "start_c": 21,
    "limits": {"low_c": 7, "high_c": 29, "hours_allowed": 4, "hard_low_c": 0, "hard_high_c": 36},
    "cases": [
        {"name": "on time", "weight": 0.75, "hours": [0, 1, 2.5], "members_c": [[20, 19, 18], [20, 18, None]]},
        {"name": "late", "weight": 0.25, "hours": [0, 24], "members_c": [[-20, -20], [15, 15]]},
    ],
}


def test_failed_and_unknown_add_up_by_the_weights_of_the_cases() -> None:
    answer = check(load(json.dumps(CHECK)))
    assert answer["hard"]["failed"] == pytest.approx(0.25 / 2)
    assert answer["hard"]["failed_or_unknown"] == pytest.approx(0.25 / 2 + 0.75 / 2)
    assert answer["hard"]["standard_error"] == pytest.approx(0.25 * (0.25 / 2) ** 0.5)
    assert answer["verdict"] == "no-go"
    assert answer["missing_hours"] == [2.5]
    assert len(answer["coldest_c"]) == len(answer["warmest_c"]) == 3


def test_quantiles_are_those_of_the_usual_rule_when_all_weigh_the_same() -> None:
    members = [[float(c), float(c)] for c in range(10, 20)]
    case = {"name": "on time", "weight": 1, "hours": [0, 200], "members_c": members}
    coldest = check(CHECK | {"cases": [case]})["coldest_c"]
    assert coldest == pytest.approx([10.45, 14.5, 18.55], abs=1e-6)


@pytest.mark.parametrize(
    ("path", "value", "at"),
    [
        ("cases.0.weight", 0.5, "cases"),
        ("cases.0.members_c", [[1, 2]], "cases[0].members_c[0]"),
        ("cases", [], "cases"),
        ("limits.low_c", -5, "limits"),
        ("limits.hours_allowed", -1, "limits.hours_allowed"),
        ("kit", {}, "kit"),
        ("tolerance", {"comfort": 2}, "tolerance.comfort"),
        ("kit.network.air_j_k", 0, "kit.network.air_j_k"),
    ],
)
def test_a_fault_of_a_check_is_named_at_its_place(path: str, value: Any, at: str) -> None:
    assert set(refused(check, changed(CHECK, path, value))) == {at}


@pytest.mark.parametrize("name", [*NETWORK, "free_litres"])
@pytest.mark.parametrize("least", [5e-324, 1e-300, 1e-30])
def test_a_network_of_next_to_nothing_is_refused_with_its_place(name: str, least: float) -> None:
    """Its matrices would overflow and give no temperature, and so no JSON number."""
    warmed = PLAIN | {"packs": KIT["packs"]}
    assert f"network.{name}" in refused(heat, changed(warmed, f"network.{name}", least))


@pytest.mark.parametrize("outside", [1e-6, 1e7])
@pytest.mark.parametrize("payload", [1e-6, 1e7])
@pytest.mark.parametrize("air", [1e-3, 1e7])
@pytest.mark.parametrize("heats", [1e-3, 1e7])
def test_a_network_at_its_bounds_stays_between_start_and_weather(
    outside: float, payload: float, air: float, heats: float
) -> None:
    asked = {"outside_w_k": outside, "payload_w_k": payload, "air_j_k": air, "payload_j_k": heats}
    for row in heat(PLAIN | {"network": asked})["at"]:
        assert min(row["air_c"], row["payload_c"]) >= -0.01
        assert max(row["air_c"], row["payload_c"]) <= 20.01
