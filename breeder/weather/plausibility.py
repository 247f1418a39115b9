"""Plausible air temperatures: the same check for a file, a typed day and a recorded hour."""

from breeder.core.units import degrees

# Colder or warmer air is not plausible in the shade where animals are shipped (judgment).
COLDEST_C, WARMEST_C = -60.0, 60.0

# Warmer than this is rare enough to ask whether °F was meant; 80 °F is 27 °C, 80 °C is a sauna.
ASK_ABOVE_C = 45.0

# Real air seldom moves by more than 7.4 °C in an hour (99.99 % of hours, New York 2013); a change of unit does.
ASK_ABOVE_STEP_C = 20.0


def temperature_fault(celsius: float, *, fahrenheit: bool, sure: bool = False) -> str:
    """Return what is wrong with an air temperature (°C) and how to fix it, or an empty text.

    `fahrenheit`: it was typed in °F. `sure`: the keeper confirmed the unit.
    """
    shown = degrees(celsius, fahrenheit=fahrenheit, digits=1)
    unit, other = ("°F", "°C") if fahrenheit else ("°C", "°F")
    if not COLDEST_C <= celsius <= WARMEST_C:
        return (
            f"{shown} is not an air temperature. If it was meant in {other}, choose {other}; otherwise mend the value."
        )
    if celsius > ASK_ABOVE_C and not sure:
        return (
            f"{shown} is hotter than air almost ever is. If it was meant in {other}, choose {other}; if it really is "
            f"{unit}, tick that the unit is right."
        )
    return ""
