"""What an allowance comes to on average, in the numbers that the settings page shows."""

from dataclasses import dataclass

from breeder.core.thermal import allowed
from breeder.core.thermal.allowed import Measured


@dataclass(frozen=True)
class Comes:
    """Days that were Go in 100, and boxes that broke in 1000 of those that went."""

    go: str
    broke: str


@dataclass(frozen=True)
class Row:
    """One allowance, in 100, with what it came to for both bands."""

    allowed: str
    temperate: Comes
    tropical: Comes


def rows() -> list[Row]:
    """Return the allowances that were measured."""
    return [
        Row(_in(100, mild.tolerance), _comes(mild), _comes(warm))
        for mild, warm in zip(allowed.TEMPERATE, allowed.TROPICAL, strict=True)
    ]


def _comes(measured: Measured) -> Comes:
    return Comes(_in(100, measured.go), _in(1000, measured.broke))


def _in(many: int, share: float) -> str:
    return f"{share * many:.0f} in {many}"
