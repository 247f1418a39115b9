"""Compare the fast simulations of many members with the slow one, and with scipy on the same network."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from breeder.core.thermal import box as boxes
from breeder.core.thermal import metrics, single_run
from breeder.core.thermal.batch import sweep
from breeder.core.thermal.kit import HeatPack, Payload, PhaseChangePack, ShippingBox, ThermalKit, WallLayer
from breeder.core.thermal.simulation import simulate, simulate_cases, surroundings

BOARD = WallLayer("corrugated", 4)
FOAM = ShippingBox((0.25, 0.20, 0.15), (WallLayer("eps", 19), BOARD))
PAYLOAD = Payload(0.45, cups=8)
PLAIN, WARM = ThermalKit(FOAM, PAYLOAD), ThermalKit(FOAM, PAYLOAD, packs=(HeatPack(72, 125, lit_h=-1),))
MELTING = ThermalKit(FOAM, PAYLOAD, packs=(PhaseChangePack(0.45, 22, 190, 5),))
BOTH = ThermalKit(FOAM, PAYLOAD, packs=(*WARM.packs, *MELTING.packs))
KITS = [PLAIN, WARM, MELTING, BOTH]
HOURS = 60
LEAKS = np.array([0.85, 1.0, 1.15, 1.5])


def weather(members: int, middle_c: float = 16.0) -> np.ndarray:
    rng = np.random.default_rng(4)
    hour = np.arange(HOURS + 1)[:, None]
    swing = rng.uniform(3, 9, members) * np.cos(2 * np.pi * (hour - 15) / 24)
    return middle_c + rng.uniform(-6, 8, members) + swing + rng.normal(0, 0.7, (HOURS + 1, members))


@pytest.mark.parametrize("kit", KITS, ids=["plain", "heat pack", "melting pack", "both"])
def test_members_together_are_what_each_is_alone_step_by_step(kit: ThermalKit) -> None:
    ambient, leak = weather(8), np.tile(LEAKS, 2)
    start = np.linspace(18, 24, 8)
    together = simulate(kit, ambient, start_c=start, leak=leak).payload_c
    for member in range(8):
        what = single_run.packed(kit)
        leaking = single_run.Packed(
            what.network.leaking(leak[member]),
            what.heat_packs,
            what.phase_change_packs,
            what.free_litres,
            what.air_changes_h,
        )
        series = single_run.Series(np.arange(HOURS + 1.0), ambient[:, member : member + 1])
        trace = single_run.run(leaking, series, float(start[member]), end_h=HOURS)
        alone = np.interp(np.arange(HOURS * 4 + 1) / 4, trace.hour, trace.payload_c[:, 0])
        assert together[:, member] == pytest.approx(alone, abs=0.03)


def test_four_nodes_against_scipy() -> None:
    net, ambient = boxes.network(PLAIN), weather(1)[:, 0]
    a, b = net.matrices()
    hour = np.arange(HOURS + 1)

    def slope(second: float, state: np.ndarray) -> np.ndarray:
        return a @ state + b[:, 0] * np.interp(second / 3600, hour, ambient)

    solution = solve_ivp(
        slope,
        (0, HOURS * 3600),
        np.full(4, 21.0),
        method="LSODA",
        rtol=1e-9,
        atol=1e-9,
        max_step=600,
        t_eval=hour * 3600,
    )
    assert simulate(PLAIN, ambient[:, None], start_c=21).payload_c[::4, 0] == pytest.approx(solution.y[1], abs=1e-5)


@pytest.mark.parametrize("kit", KITS, ids=["plain", "heat pack", "melting pack", "both"])
def test_cases_together_are_what_each_is_alone(kit: ThermalKit) -> None:
    cases = [
        surroundings(
            weather(6, middle_c)[: hours + 1],
            start_c=21.0,
            leak=np.tile(LEAKS[:3], 2),
            film_by_hour=("indoors",) * (hours - 4) + ("porch",) * 4,
        )
        for hours, middle_c in ((24, 16.0), (48, 2.0), (60, 20.0))
    ]
    together = simulate_cases(kit, cases)
    for case, result in zip(cases, together, strict=True):
        assert result.payload_c == pytest.approx(simulate_cases(kit, [case])[0].payload_c, abs=2e-3)
        assert len(result.hour) == case.hours * 4 + 1


def test_a_pack_that_freezes_after_its_case_has_ended_is_not_reported() -> None:
    """A day that ends in hard frost runs together with two mild days: only the end of that day is frozen."""
    ends_cold = np.concatenate([np.full(21, 15.0), [5.0, -10.0, -25.0, -25.0]])[:, None]
    cases = [surroundings(ends_cold, start_c=21.0), surroundings(np.full((61, 1), 15.0), start_c=21.0)]
    short, long = simulate_cases(BOTH, cases)
    assert not simulate_cases(BOTH, cases[:1])[0].stalled.any()
    assert not short.stalled.any()
    assert not long.stalled.any()
    # The same frost in the middle of a longer case stops its pack.
    goes_on = np.concatenate([ends_cold, np.full((36, 1), -25.0)])
    assert simulate_cases(BOTH, [surroundings(goes_on, start_c=21.0)])[0].stalled.all()


def test_a_windy_doorstep_cools_a_box_faster_than_a_van() -> None:
    ambient = np.zeros((7, 1))
    calm, windy = (simulate(PLAIN, ambient, start_c=20, film_by_hour=(film,) * 6) for film in ("indoors", "windy"))
    assert np.all(windy.payload_c[1:] < calm.payload_c[1:])


def test_finer_pieces_change_nothing_for_melting_packs() -> None:
    ambient = weather(4)
    coarse = simulate(MELTING, ambient, start_c=21).payload_c
    for member in range(4):
        series = single_run.Series(np.arange(HOURS + 1.0), ambient[:, member : member + 1])
        fine = single_run.run(single_run.packed(MELTING), series, 21.0, end_h=HOURS)
        assert coarse[::4, member] == pytest.approx(
            np.interp(np.arange(HOURS + 1), fine.hour, fine.payload_c[:, 0]), abs=0.01
        )


def test_equal_melting_packs_are_one_of_their_weight() -> None:
    half = PhaseChangePack(0.225, 22, 190, 5, contact_w_k=0.5)
    two = simulate(ThermalKit(FOAM, PAYLOAD, packs=(half, half)), weather(3), start_c=21).payload_c
    assert two == pytest.approx(simulate(MELTING, weather(3), start_c=21).payload_c, abs=1e-9)


def test_a_melting_pack_gives_back_the_heat_that_it_took() -> None:
    """After a swing the box with a pack returns to the same temperature as the box without (energy balance)."""
    ambient = np.concatenate([np.full(30, 18.0), np.full(30, 28.0), np.full(141, 18.0)])[:, None]
    with_pack, without = (simulate(kit, ambient, start_c=18).payload_c[-1, 0] for kit in (MELTING, PLAIN))
    assert with_pack == pytest.approx(without, abs=0.02)


@pytest.mark.parametrize("kit", KITS, ids=["plain", "heat pack", "melting pack", "both"])
def test_a_sweep_over_many_tells_the_same_as_the_curves(kit: ThermalKit) -> None:
    ambient, leak = weather(40), np.resize(LEAKS, 40)
    swept = sweep(kit, ambient.T, low_c=10, high_c=24, start_c=21, leak=leak)
    curves = simulate(kit, ambient, start_c=21, leak=leak)
    extremes = metrics.extremes(curves.hour, curves.payload_c)
    assert swept.coldest_c == pytest.approx(extremes.coldest_c, abs=0.06)
    assert swept.warmest_c == pytest.approx(extremes.warmest_c, abs=0.06)
    below, _ = metrics.time_below(curves.hour, curves.payload_c, 10)
    above, _ = metrics.time_above(curves.hour, curves.payload_c, 24)
    # If a curve only just touches the limit, half-hourly readings may miss up to a quarter of an hour.
    assert np.mean(np.abs(swept.hours_below - below)) < 0.03
    assert np.mean(np.abs(swept.hours_above - above)) < 0.03
    assert np.max(np.abs(swept.hours_below - below)) < 0.5


def test_a_frozen_heat_pack_gives_nothing_until_the_air_has_thawed() -> None:
    frost = np.full((49, 1), -20.0)
    frozen = simulate(WARM, frost, start_c=21)
    assert frozen.stalled.all()
    assert frozen.payload_c[-1, 0] == pytest.approx(simulate(PLAIN, frost, start_c=21).payload_c[-1, 0], abs=0.1)
    thaw = np.concatenate([frost[:24], np.full((25, 1), 5.0)])
    assert simulate(WARM, thaw, start_c=21).payload_c[-1, 0] > 8


def test_a_light_frost_does_not_stop_a_working_pack() -> None:
    assert not simulate(WARM, np.full((49, 1), -3.0), start_c=21).stalled.any()


def test_pack_energy_between_the_nodes_is_as_if_reckoned_alone() -> None:
    """With shared oxygen power is not proportional to energy; interpolation between nodes must still hold."""
    energy = np.array([0.7, 0.93, 1.1, 1.45])
    ambient = np.full((49, 4), 8.0)
    end_c = simulate(WARM, ambient, start_c=15, pack_energy=energy).payload_c[-1]
    for member, share in enumerate(energy):
        alone = ThermalKit(FOAM, PAYLOAD, packs=(HeatPack(72, 125 * share, lit_h=-1),))
        assert end_c[member] == pytest.approx(simulate(alone, ambient[:, :1], start_c=15).payload_c[-1, 0], abs=0.005)


def test_a_taped_box_is_less_warm_at_first_and_warmer_late() -> None:
    ambient = np.full((169, 1), 10.0)
    taped = ThermalKit(replace(FOAM, air_changes_h=0.15), PAYLOAD, packs=WARM.packs)
    slow, usual = (simulate(kit, ambient, start_c=21).payload_c[:, 0] for kit in (taped, WARM))
    early, late = slice(24 * 4, 48 * 4), slice(110 * 4, 130 * 4)
    assert np.all(slow[early] < usual[early] - 1)
    assert np.all(slow[late] > 11.5)
    assert np.all(usual[late] < 10.5)


@pytest.mark.parametrize("air_changes_h", [0.15, 0.6, 1.5])
def test_pack_energy_between_the_nodes_also_tells_when_a_pack_ends(air_changes_h: float) -> None:
    energy = np.exp(0.15 * np.linspace(-2.5, 2.5, 9))
    box, ambient = replace(FOAM, air_changes_h=air_changes_h), np.full((169, 9), 8.0)
    payload_c = simulate(ThermalKit(box, PAYLOAD, packs=WARM.packs), ambient, start_c=15, pack_energy=energy).payload_c
    for member, share in enumerate(energy):
        alone = ThermalKit(box, PAYLOAD, packs=(HeatPack(72, 125 * share, lit_h=-1),))
        # The pack's usual energy is a node, so alone it is exact.
        assert payload_c[:, member] == pytest.approx(
            simulate(alone, ambient[:, :1], start_c=15).payload_c[:, 0], abs=0.06
        )


@pytest.mark.parametrize(
    ("ambient", "more", "sentence"),
    [
        (np.zeros((1, 3)), {}, "at least two rows"),
        (np.full((5, 2), np.nan), {}, "missing hours"),
        (np.zeros((5, 2)), {"film_by_hour": ("indoors",)}, "films for 1 hours"),
        (np.zeros((5, 2)), {"film_by_hour": ("storm",) * 4}, "not one of"),
        (np.zeros((5, 2)), {"leak": np.ones(3)}, "for each of the 2 members"),
    ],
)
def test_what_does_not_fit_is_refused_in_a_sentence(
    ambient: np.ndarray, more: dict[str, object], sentence: str
) -> None:
    with pytest.raises(ValueError, match=sentence):
        simulate(PLAIN, ambient, start_c=20, **more)  # type: ignore[arg-type]


def test_hours_outside_and_degree_hours_of_a_straight_curve() -> None:
    """By hand: from 0 to 10 in 5 h, 4 degC is passed after 2 h; the triangle above is 3 h x 6 K / 2."""
    hour, curve = np.array([0.0, 5.0, 5.5]), np.array([[0.0], [10.0], [10.0]])
    hours, degree_hours = metrics.time_above(hour, curve, 4.0)
    assert hours[0] == pytest.approx(3.5)
    assert degree_hours[0] == pytest.approx(9 + 3)
    below, _ = metrics.time_below(hour, curve, 4.0)
    assert below[0] == pytest.approx(2.0)
