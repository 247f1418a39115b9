"""Hold the physical constants of boxes, packs and bedding; no other module defines any.

Marks: "table" = table shipped with a general property library; "read" = read in the named source; "memory" = from
memory, not checked against a copy; "judgment" = never measured for parcels.
"""

from __future__ import annotations

from dataclasses import dataclass

KELVIN = 273.15  # K at 0 degC
STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m2 K4), CODATA 2018
SECONDS_PER_HOUR = 3600.0

AIR_KG_M3 = 1.2  # near 20 degC
AIR_J_KGK = 1006.0
STILL_AIR_W_MK = 0.0257  # ISO 10456 gives 0.025; 0.0257 at 20 degC
WATER_J_KGK = 4186.0
DRY_ORGANIC_J_KGK = 1340.0  # bedding without its water, paper cups, crumpled paper (memory)
SUBSTRATE_W_MK = 0.4  # moist bedding (judgment)
ICE_MELT_KJ_KG = 333.55  # CRC Handbook
IRON_HEAT_KJ_G = 7.2  # Fe to iron(III) oxide-hydroxide, from heats of formation, +-4 %
OXYGEN_HEAT_KJ_G = 17.17  # the same reaction per gram of oxygen


@dataclass(frozen=True)
class Material:
    """One wall material. `resistance_m2k_w` is set if the maker gives the resistance of the whole sheet."""

    k_w_mk: float
    rho_kg_m3: float
    c_j_kgk: float
    source: str
    mark: str
    resistance_m2k_w: float | None = None
    sheet_mm: float | None = None


MATERIALS: dict[str, Material] = {
    "eps": Material(0.0355, 20.0, 1470.0, "ASHRAE table, expanded polystyrene molded beads at 20 kg/m3", "table"),
    "xps": Material(0.029, 32.0, 1470.0, "ASHRAE table 0.026 fresh; 0.029 aged", "table"),
    "pu": Material(
        0.026, 40.0, 1470.0, "ASHRAE table, sprayed polyurethane; CIBSE Guide A Table 3.37 gives 0.028", "table"
    ),
    "corrugated": Material(
        0.060, 140.0, 1340.0, "Cekon 2017, J. Renew. Mater. (conductivity); rest from memory", "read"
    ),
    "cellulose": Material(0.042, 42.5, 1380.0, "ASHRAE table, cellulose loose fill", "table"),
    # Too light to store much heat. It is a resistance by itself, and more only with a gap in front of the foil.
    "foil_bubble": Material(
        0.008 / 0.19, 0.0, 0.0, "Energy Design Update, 8 mm foil bubble R 0.19-0.23 m2K/W", "read", 0.19, 8.0
    ),
}

# One foil face in front of still air. Physics allows 0.433 for an even 12 mm gap, but the gap of a liner is uneven: the
# 12 mm gap counts as 0.25 (judgment), the 6 mm gap as its physical value.
FOIL_GAP_M2K_W: dict[float, float] = {6.0: 0.225, 12.0: 0.25}


def moist_j_kgk(water_share: float) -> float:
    """Return the heat capacity of moist bedding or animals, J/(kg K).

    Assumes mass mixing of water and dry organic matter. `water_share` is the wet-basis mass fraction, 0 to 1.
    Check: 0.70 gives 3332. Source: mixing rule; dry value from memory.
    """
    return (1.0 - water_share) * DRY_ORGANIC_J_KGK + water_share * WATER_J_KGK
