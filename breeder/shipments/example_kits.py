"""Example kits to start from: sizes and layers as sold, costs and shelf numbers invented."""

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

INNER_M = (0.25, 0.20, 0.15)
BOARD = {"material": "corrugated", "mm": 4}
FOAM_19 = {"material": "eps", "mm": 19}
FOAM_38 = {"material": "eps", "mm": 38.1}
FOIL = {"material": "foil_bubble", "mm": 8, "gap_mm": 12}
# Opened an hour before the box is handed over; 125 g is a usual weight (from memory).
WARMER_72 = {"kind": "heat", "rated_h": 72, "grams": 125, "lit_h": -1}
# Latent heat as printed on such packs, 190 ± 20 kJ/kg (ask for the label's value); goes in solid, at room temperature.
PCM_22 = {"kind": "phase_change", "kg": 0.45, "melt_c": 22, "latent_kj_kg": 190, "start_c": 20}
# Factor on the drawn heat loss for tape and folded seams; the check adds its own spread.
LEAK = 1.0
AIR_HOLES = 1.5
NORMAL_SEAMS = 0.6

BOX, LINER_19, LINER_38, LINER_FOIL = (
    "Card box 26 × 21 × 16 cm",
    "Foam liner 19 mm",
    "Foam liner 38 mm",
    "Foil bubble liner",
)
PACK_72, PACK_22 = "Heat pack 72 h", "Phase-change pack 22 °C, 0.45 kg"
WATER = "Water bottle 1 l"
LITRE_KG = 1.0
SUPPLIES = (BOX, LINER_19, LINER_38, LINER_FOIL, PACK_72, PACK_22, WATER)


@dataclass(frozen=True)
class Example:
    """One kit with what it uses up."""

    name: str
    cost: str
    layers: tuple[dict[str, Any], ...]
    packs: tuple[dict[str, Any], ...] = ()
    parts: dict[str, int] = field(default_factory=dict)
    air_changes_h: float = NORMAL_SEAMS
    ballast_kg: float = 0.0

    def values(self) -> dict[str, Any]:
        """Return the fields of the kit's row."""
        return {
            "inner_m": list(INNER_M),
            "layers": [dict(layer) for layer in self.layers],
            "packs": [dict(pack) for pack in self.packs],
            "ballast_kg": self.ballast_kg,
            "leak_factor": LEAK,
            "air_changes_h": self.air_changes_h,
            "cost": Decimal(self.cost),
            "note": "An example; put in your own sizes and cost.",
        }


KITS = (
    Example("Bare card", "1.10", (BOARD,), parts={BOX: 1}),
    Example("Foil bubble", "2.10", (FOIL, BOARD), parts={BOX: 1, LINER_FOIL: 1}),
    Example("Foam 19 mm", "2.60", (FOAM_19, BOARD), parts={BOX: 1, LINER_19: 1}),
    Example(
        "Foam 19 mm, 72 h pack", "4.05", (FOAM_19, BOARD), (WARMER_72,), {BOX: 1, LINER_19: 1, PACK_72: 1}, AIR_HOLES
    ),
    Example("Foam 38 mm", "4.75", (FOAM_38, BOARD), parts={BOX: 1, LINER_38: 1}),
    # At room temperature; it evens out nights and afternoons. The bottle is used again; its cost is the postage of a
    # kilogram.
    Example(
        "Foam 38 mm, 1 l of water",
        "5.50",
        (FOAM_38, BOARD),
        parts={BOX: 1, LINER_38: 1, WATER: 1},
        ballast_kg=LITRE_KG,
    ),
    Example("Foam 19 mm, 22 °C pack", "5.60", (FOAM_19, BOARD), (PCM_22,), {BOX: 1, LINER_19: 1, PACK_22: 1}),
    Example(
        "Foam 38 mm, 72 h pack", "6.20", (FOAM_38, BOARD), (WARMER_72,), {BOX: 1, LINER_38: 1, PACK_72: 1}, AIR_HOLES
    ),
    # These two did best of all kits tried on real days: the pack takes up the heat of the afternoon van and of the heat
    # pack, and gives it back at night (computed for this project, 57 US cities, 2014-2017).
    Example(
        "Foam 38 mm, 72 h and 22 °C pack",
        "9.20",
        (FOAM_38, BOARD),
        (WARMER_72, PCM_22),
        {BOX: 1, LINER_38: 1, PACK_72: 1, PACK_22: 1},
        AIR_HOLES,
    ),
    Example(
        "Foam 38 mm, two 22 °C packs", "10.75", (FOAM_38, BOARD), (PCM_22, PCM_22), {BOX: 1, LINER_38: 1, PACK_22: 2}
    ),
)
