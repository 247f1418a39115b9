"""Sizes and weights as the household writes them, turned to what the book keeps; used in forms only."""

from dataclasses import dataclass

CM_PER_INCH = 2.54
MM_PER_INCH = 25.4
GRAMS_PER_OUNCE = 28.349523
LITRES_PER_FLUID_OUNCE = 0.0295735


@dataclass(frozen=True)
class Units:
    """Factors from the household's unit to the book's: metres, millimetres, grams, kilograms, litres."""

    side: str
    side_m: float
    wall: str
    wall_mm: float
    small: str
    small_g: float
    large: str
    large_kg: float
    water: str
    water_kg: float


METRIC = Units("cm", 0.01, "mm", 1.0, "g", 1.0, "kg", 1.0, "litres", 1.0)
INCHES = Units(
    "in",
    CM_PER_INCH / 100,
    "in",
    MM_PER_INCH,
    "oz",
    GRAMS_PER_OUNCE,
    "oz",
    GRAMS_PER_OUNCE / 1000,
    "fl oz",
    LITRES_PER_FLUID_OUNCE,
)


def units_of(inches: bool) -> Units:
    """Return the units that the household writes sizes and weights in."""
    return INCHES if inches else METRIC


def shown(value: float | None, factor: float) -> float | None:
    """Return a kept value in the household's unit, rounded to what a ruler or kitchen scale reads."""
    return None if value is None else round(value / factor, 4)
