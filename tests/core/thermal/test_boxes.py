"""Check what must hold for every box: bounds, thicker walls, energy, and the wall against a finer model."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from breeder.core.thermal import box as boxes
from breeder.core.thermal import packs
from breeder.core.thermal.kit import BadKit, HeatPack, Payload, PhaseChangePack, ShippingBox, ThermalKit, WallLayer
from breeder.core.thermal.simulation import simulate

INNER_M = (0.25, 0.20, 0.15)
BOARD = WallLayer("corrugated", 4)
PAYLOAD = Payload(0.45, cups=8)
FEW = settings(max_examples=25, deadline=None)
weathers = st.lists(st.floats(-15, 40), min_size=3, max_size=30)


def kit(*liner: WallLayer, packs: tuple = (), air_changes_h: float = 0.6, ballast_kg: float = 0.0) -> ThermalKit:
    return ThermalKit(ShippingBox(INNER_M, (*liner, BOARD), air_changes_h=air_changes_h), PAYLOAD, ballast_kg, packs)


def payload(of: ThermalKit, weather: np.ndarray, start_c: float = 21.0, **more: object) -> np.ndarray:
    return simulate(of, np.asarray(weather, float)[:, None], start_c=start_c, **more).payload_c[:, 0]


FOAM = WallLayer("eps", 19)
WARMER = HeatPack(72, 125)


@FEW
@given(weathers, st.floats(0, 30))
def test_without_a_pack_the_inside_stays_within_weather_and_start(weather: list[float], start_c: float) -> None:
    payload_c = payload(kit(FOAM), np.array(weather), start_c)
    assert payload_c.min() >= min(min(weather), start_c) - 1e-9
    assert payload_c.max() <= max(max(weather), start_c) + 1e-9


@FEW
@given(st.floats(5, 60), st.floats(1, 40))
def test_more_foam_never_widens_the_swing(mm: float, more: float) -> None:
    weather = 12 + 10 * np.cos(np.arange(73) * np.pi / 12)
    thin, thick = (np.ptp(payload(kit(WallLayer("eps", thick)), weather, 12.0)[96:]) for thick in (mm, mm + more))
    assert thick <= thin + 1e-9


def test_more_foam_lets_less_through() -> None:
    conductances = [boxes.conductance_w_k(kit(WallLayer("eps", mm)).box) for mm in (5, 10, 20, 40, 80)]
    assert conductances == sorted(conductances, reverse=True)


def test_wind_matters_most_to_bare_card() -> None:
    """Computed (no outside source): 0.685 to 0.874 W/K for bare card, 4 to 10 % for foam."""
    card, foam = kit().box, kit(FOAM).box
    assert boxes.conductance_w_k(card, 25.0) == pytest.approx(0.874, abs=0.001)
    assert 1.04 < boxes.conductance_w_k(foam, 25.0) / boxes.conductance_w_k(foam) < 1.10


def test_two_packs_give_less_than_twice_one_and_taped_holes_less_than_open() -> None:
    hour = np.arange(2, 60.0)
    single, two = (packs.kit_power_w(kit(FOAM, packs=(WARMER,) * number), hour) for number in (1, 2))
    assert np.all(two < 2 * single)
    assert np.all(two > single)
    taped, open_ = (packs.kit_power_w(kit(FOAM, packs=(WARMER,), air_changes_h=n), hour) for n in (0.15, 1.5))
    assert np.all(taped < open_)


def test_a_heat_pack_is_worth_power_over_conductance() -> None:
    """Steady state: the inside is warmer than the outside by P/UA (energy balance)."""
    warm = kit(FOAM, packs=(HeatPack(72, 125),))
    payload_c = payload(warm, np.full(49, 10.0), 15.0)
    power = packs.kit_power_w(warm, np.array([36.0]))[0]
    assert payload_c[36 * 4] - 10 == pytest.approx(power / boxes.conductance_w_k(warm.box), rel=0.05)


@pytest.mark.parametrize("per_hour", [1, 2])
def test_fewer_readings_change_nothing_of_what_is_read(per_hour: int) -> None:
    weather = 12 + 10 * np.cos(np.arange(49) * np.pi / 12)
    whole = payload(kit(FOAM, packs=(WARMER,)), weather)
    assert payload(kit(FOAM, packs=(WARMER,)), weather, per_hour=per_hour) == pytest.approx(
        whole[:: 4 // per_hour], abs=2e-3
    )


def test_hourly_unsplit_steps_are_refused_for_melting_packs() -> None:
    melting = kit(FOAM, packs=(PhaseChangePack(0.45, 22, 190, 5),))
    with pytest.raises(ValueError, match="must divide 4"):
        simulate(melting, np.full((9, 1), 30.0), start_c=21, per_hour=12)


def test_an_airtight_box_with_a_heat_pack_is_refused_in_a_sentence() -> None:
    with pytest.raises(BadKit, match="use up the animals' oxygen"):
        kit(FOAM, packs=(WARMER,), air_changes_h=0.0)


@pytest.mark.parametrize(
    ("make", "path"),
    [
        (lambda: WallLayer("straw", 10), "material"),
        (lambda: WallLayer("eps", -1), "mm"),
        (lambda: WallLayer("eps", float("nan")), "mm"),
        (lambda: WallLayer("eps", 10, gap_mm=12), "gap_mm"),
        (lambda: ShippingBox((0.2, 0.2), (BOARD,)), "inner_m"),
        (lambda: ShippingBox(INNER_M, ()), "layers"),
        (lambda: Payload(-1), "kg"),
        (lambda: HeatPack(0), "rated_h"),
        (lambda: ThermalKit(ShippingBox((0.1, 0.1, 0.1), (BOARD,)), Payload(5)), "payload.kg"),
    ],
)
def test_what_cannot_be_is_refused_with_its_place(make: object, path: str) -> None:
    with pytest.raises(BadKit) as refused:
        make()  # type: ignore[operator]
    assert refused.value.path == path


def test_the_wall_nodes_stand_for_the_wall() -> None:
    """The four-state foam box against the method of lines (60 slices of foam, scipy BDF): within 0.1 K rms."""
    of = kit(WallLayer("eps", 25.4))
    hours = np.arange(49)
    weather = 12 + 10 * np.cos(hours * np.pi / 12)
    ours = payload(of, weather, 20.0)[::4]
    assert np.sqrt(np.mean((ours - by_lines(of, hours, weather, 20.0)) ** 2)) < 0.1


def by_lines(of: ThermalKit, hours: np.ndarray, weather: np.ndarray, start_c: float) -> np.ndarray:
    """Integrate air, payload and a wall of 60 slices whose resistance and heat are those of the box's four states."""
    net = boxes.network(of)
    slices = 60
    inner, middle, outer = net.wall_w_k
    foam_j, board_j = net.wall_j_k
    # The foam node is in the middle of the foam: half of its resistance is on the inner side, half on the board's.
    foam_w_k = foam_conductance(of)
    film_w_k = 1 / (1 / inner - 0.5 / foam_w_k)
    rest_w_k = 1 / (1 / middle - 0.5 / foam_w_k)
    step_w_k, slice_j = foam_w_k * slices, foam_j / slices

    def slope(second: float, state: np.ndarray) -> np.ndarray:
        air, goods, board, wall = state[0], state[1], state[2], state[3:]
        outside = np.interp(second / 3600, hours, weather)
        first = 1 / (1 / film_w_k + 0.5 / step_w_k)
        last = 1 / (1 / rest_w_k + 0.5 / step_w_k)
        into, out = first * (air - wall[0]), last * (wall[-1] - board)
        between = step_w_k * (wall[:-1] - wall[1:])
        change = np.empty_like(state)
        change[0] = (net.payload_w_k * (goods - air) - into) / net.air_j_k
        change[1] = net.payload_w_k * (air - goods) / net.payload_j_k
        change[2] = (out + outer * (outside - board)) / board_j
        change[3:] = (np.concatenate([[into], between]) - np.concatenate([between, [out]])) / slice_j
        return change

    start = np.full(3 + slices, start_c)
    solution = solve_ivp(
        slope, (0, hours[-1] * 3600), start, method="BDF", rtol=1e-6, atol=1e-6, t_eval=hours * 3600, max_step=900
    )
    return solution.y[1]


def foam_conductance(of: ThermalKit) -> float:
    """Return k S of the foam alone, W/K."""
    from breeder.core.thermal.materials import MATERIALS

    return MATERIALS["eps"].k_w_mk * boxes.shape_factor_m(of.box.inner_m, of.box.layers[0].mm / 1000)
