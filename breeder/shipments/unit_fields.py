"""Convert sizes and weights between the household's units and the book's; used in forms only."""

from dataclasses import dataclass

CM_PER_INCH = 2.54
MM_PER_INCH = 25.4
GRAMS_PER_OUNCE = 28.349523
LITERS_PER_FLUID_OUNCE = 0.0295735


@dataclass(frozen=True)
class Units:
    """Factors from the household's units to the book's: meters, millimeters, grams, kilograms, liters."""

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
    LITERS_PER_FLUID_OUNCE,
)


def household_units(inches: bool) -> Units:
    """Return the units that the household writes sizes and weights in."""
    return INCHES if inches else METRIC


def in_household_unit(value: float | None, factor: float) -> float | None:
    """Return a stored value in the household's unit, rounded to what a ruler or kitchen scale shows."""
    return None if value is None else round(value / factor, 4)
