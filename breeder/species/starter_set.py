"""The species starter set: a CSV sheet with one value per row, its evidence mark and its source."""

import csv
from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import models

from breeder.species import rules
from breeder.species.models import Mark, Species
from breeder.species.species_fields import KEEPING

SHEET = Path(settings.BASE_DIR) / "fixtures" / "species.csv"
EARLIER = Path(settings.BASE_DIR) / "fixtures" / "species_before.csv"
YES_NO = {"yes": True, "no": False}


@dataclass(frozen=True)
class StarterSpecies:
    """One species of the sheet: its name, its values by field, and [mark, source] by field."""

    scientific_name: str
    qualifier: str
    values: dict[str, Any] = field(default_factory=dict)
    sources: dict[str, list[str]] = field(default_factory=dict)


@dataclass(frozen=True)
class StarterRow:
    """One row of a sheet: a value of a species with its mark and its source."""

    scientific_name: str
    qualifier: str
    field: str
    value: Any
    mark: str
    source: str


def starter_set(sheet: Path = SHEET) -> list[StarterSpecies]:
    """Return the species of the sheet in its order. Raises ValueError naming the row that cannot be read."""
    by_name: dict[tuple[str, str], StarterSpecies] = {}
    for row in _rows(sheet):
        key = (row.scientific_name, row.qualifier)
        species = by_name.setdefault(key, StarterSpecies(*key))
        species.values[row.field] = row.value
        species.sources[row.field] = [row.mark, row.source]
    return list(by_name.values())


def earlier_rows() -> frozenset[StarterRow]:
    """Return the rows of earlier sheets that were corrected since."""
    return frozenset(_rows(EARLIER))


def corrections(species: Species, starter: StarterSpecies, earlier: frozenset[StarterRow]) -> dict[str, Any]:
    """Return the values with which this sheet corrects or fills in a species loaded from an earlier sheet.

    A value is corrected only if it and its source are still those of the earlier sheet. It is filled in only if the
    species came from the sheet and the keeper neither gave nor emptied that value. A temperature that would contradict
    one of the keeper's stays as it is.
    """
    from_sheet = any(species.sources.get(name) == source for name, source in starter.sources.items())
    new = {}
    for name, value in starter.values.items():
        held, source = getattr(species, name), species.sources.get(name)
        if source is None:
            if from_sheet and name in KEEPING and held in (None, ""):
                new[name] = value
        elif StarterRow(species.scientific_name, species.qualifier, name, held, *source) in earlier:
            new[name] = value
    for names in rules.IN_ORDER:
        if rules.out_of_order({name: new.get(name, getattr(species, name)) for name in names}):
            new = {name: value for name, value in new.items() if name not in names}
    return new


def _rows(sheet: Path) -> Iterator[StarterRow]:
    with sheet.open(encoding="utf-8", newline="") as file:
        for number, row in enumerate(csv.DictReader(file), start=2):
            try:
                value, mark = _value(row["field"], row["value"]), Mark(row["mark"]).value
            except (ValueError, ArithmeticError, KeyError) as wrong:
                raise ValueError(f"{sheet.name}, row {number} ({row['field']}): {wrong}") from wrong
            yield StarterRow(row["scientific_name"], row["qualifier"], row["field"], value, mark, row["source"])


def _value(name: str, text: str) -> Any:
    kind = Species._meta.get_field(name)
    if isinstance(kind, models.BooleanField):
        return YES_NO[text]
    if isinstance(kind, models.DecimalField):
        return Decimal(text)
    if isinstance(kind, models.IntegerField):
        return int(text)
    return text
