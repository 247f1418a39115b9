"""The species starter set: a sheet with one value a row, each with its evidence mark and its source in words."""

import csv
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import models

from breeder.species.models import Mark, Species

SHEET = Path(settings.BASE_DIR) / "fixtures" / "species.csv"
YES_NO = {"yes": True, "no": False}


@dataclass(frozen=True)
class StarterSpecies:
    """One species of the sheet: its name, its values by field, and [mark, source] by field."""

    scientific_name: str
    qualifier: str
    values: dict[str, Any] = field(default_factory=dict)
    sources: dict[str, list[str]] = field(default_factory=dict)


def starter_set(sheet: Path = SHEET) -> list[StarterSpecies]:
    """Return the species of the sheet in its order. Raises ValueError naming the row that cannot be read."""
    found: dict[tuple[str, str], StarterSpecies] = {}
    with sheet.open(encoding="utf-8", newline="") as file:
        for number, row in enumerate(csv.DictReader(file), start=2):
            key = (row["scientific_name"], row["qualifier"])
            species = found.setdefault(key, StarterSpecies(*key))
            try:
                species.values[row["field"]] = _value(row["field"], row["value"])
                species.sources[row["field"]] = [Mark(row["mark"]).value, row["source"]]
            except (ValueError, ArithmeticError, KeyError) as wrong:
                raise ValueError(f"{sheet.name}, row {number} ({row['field']}): {wrong}") from wrong
    return list(found.values())


def _value(name: str, text: str) -> Any:
    kind = Species._meta.get_field(name)
    if isinstance(kind, models.BooleanField):
        return YES_NO[text]
    if isinstance(kind, models.DecimalField):
        return Decimal(text)
    if isinstance(kind, models.IntegerField):
        return int(text)
    return text
