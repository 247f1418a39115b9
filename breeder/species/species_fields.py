"""The values of a species as its page shows them: in words, with evidence mark and source."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db import models

from breeder.base.models import Setting
from breeder.core.units import degrees
from breeder.species.models import Mark, Species

NOT_KNOWN = "not known"
NO_SOURCE = "no source noted"
MM_AN_INCH = Decimal("25.4")

KEEPING = ("keeping_low_c", "keeping_high_c", "moisture", "food", "calcium")
SECTIONS: dict[str, tuple[str, ...]] = {
    "In the box": ("band", "comfort_low_c", "comfort_high_c", "hours_allowed", "hard_low_c", "hard_high_c"),
    "Names": ("authorship", "vernacular_name", "group", "family", "order_name"),
    "The animal": ("adult_length_mm", "sexing", "venomous", "secretes"),
    "The tub": (*KEEPING, "moist_share", "ventilation", "burrowing", "active_at"),
    "Breeding": (
        "reproduction",
        "share_female",
        "brood",
        "broods_a_year",
        "mature_days",
        "generation_days",
        "young_survival",
        "adult_life_months",
    ),
}
FIELDS = tuple(name for names in SECTIONS.values() for name in names)

LABELS = {
    "band": "temperature band of the trade",
    "comfort_low_c": "comfort from",
    "comfort_high_c": "comfort to",
    "hours_allowed": "hours allowed outside comfort",
    "hard_low_c": "never below",
    "hard_high_c": "never above",
    "keeping_low_c": "kept from",
    "keeping_high_c": "kept to",
    "adult_length_mm": "adult length",
    "secretes": "defensive secretion",
    "moist_share": "moist part of the tub",
    "active_at": "active",
    "share_female": "females among the young",
    "generation_days": "generation time",
    "broods_a_year": "broods a year",
    "mature_days": "time to maturity",
    "young_survival": "young that live to breed",
    "adult_life_months": "life as an adult",
}
LIMITS = ("hard_low_c", "comfort_low_c", "comfort_high_c", "hard_high_c")
DEGREES = {*LIMITS, "keeping_low_c", "keeping_high_c"}
PERCENT = {"moist_share", "share_female", "young_survival"}
UNITS = {"generation_days": "days", "mature_days": "days", "adult_life_months": "months", "hours_allowed": "hours"}


@dataclass(frozen=True)
class Fact:
    """One value of a species as the page shows it."""

    label: str
    value: str
    mark: str
    mark_words: str
    source: str

    @property
    def is_known(self) -> bool:
        return self.value != NOT_KNOWN


def facts_by_section(species: Species, household: Setting) -> list[tuple[str, list[Fact]]]:
    """Return the page's sections in order, each with its values."""
    return [(title, [fact(species, name, household) for name in names]) for title, names in SECTIONS.items()]


def fact(species: Species, name: str, household: Setting) -> Fact:
    """Return one value in words with its mark and source."""
    mark, source = (list(species.sources.get(name, ())) + ["", ""])[:2]
    words = value_text(species, name, household)
    if words == NOT_KNOWN and not mark:
        return Fact(field_label(name), words, "", "", "")
    return Fact(field_label(name), words, mark, dict(Mark.choices).get(mark, ""), source or ("" if mark else NO_SOURCE))


def field_label(name: str) -> str:
    """Return the label of a field on pages."""
    label = LABELS.get(name) or str(Species._meta.get_field(name).verbose_name)
    return f"{label[:1].upper()}{label[1:]}"


def value_text(species: Species, name: str, household: Setting) -> str:
    """Return a value in the household's units, as a keeper would say it."""
    value = getattr(species, name)
    if value is None or value == "":
        return NOT_KNOWN
    if name in DEGREES:
        digits = 0 if household.fahrenheit or float(value).is_integer() else 1
        return degrees(float(value), fahrenheit=household.fahrenheit, digits=digits)
    if name == "adult_length_mm":
        return length_text(value, inches=household.inches)
    if name in PERCENT:
        return f"{value * 100:.0f} %"
    if isinstance(Species._meta.get_field(name), models.BooleanField):
        return "yes" if value else "no"
    return f"{_shown(species, name, value)} {UNITS.get(name, '')}".strip()


def length_text(millimeters: Decimal | float, *, inches: bool) -> str:
    """Return a body length such as '18 mm' or '0.7 in'."""
    return f"{Decimal(str(millimeters)) / MM_AN_INCH:.1f} in" if inches else f"{float(millimeters):g} mm"


def _shown(species: Species, name: str, value: Any) -> str:
    if Species._meta.get_field(name).choices:
        return str(getattr(species, f"get_{name}_display")())
    return f"{float(value):g}" if isinstance(value, (int, float, Decimal)) else str(value)
