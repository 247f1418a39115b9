"""Convert temperatures between °C and °F, and write them as text."""

FREEZING_F = 32.0
F_PER_C = 1.8
DASH = "–"  # shown for a missing value
MINUS = "\u2212"


def to_fahrenheit(celsius: float) -> float:
    """Return °F for a temperature in °C."""
    return celsius * F_PER_C + FREEZING_F


def to_celsius(fahrenheit: float) -> float:
    """Return °C for a temperature in °F."""
    return (fahrenheit - FREEZING_F) / F_PER_C


def _rounded(value: float, digits: int) -> str:
    text = f"{value:.{digits}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def degrees(celsius: float | None, *, fahrenheit: bool, digits: int = 0) -> str:
    """Return '8 °C' or '46 °F'; a dash for a missing value."""
    if celsius is None:
        return DASH
    value = to_fahrenheit(float(celsius)) if fahrenheit else float(celsius)
    return f"{_rounded(value, digits)} {'°F' if fahrenheit else '°C'}"


def degree_span(kelvin: float | None, *, fahrenheit: bool, digits: int = 1) -> str:
    """Return a difference between two temperatures, such as '4.9 °C' or '8.8 °F'; a dash for a missing value."""
    if kelvin is None:
        return DASH
    value = float(kelvin) * (F_PER_C if fahrenheit else 1.0)
    return f"{_rounded(value, digits)} {'°F' if fahrenheit else '°C'}"
