"""The rows of a file of published values: check, inputs, expected, tolerance, source, page, mark."""

import csv
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

MARKS = ("published", "from memory", "common practice, no source", "computed (no outside source)")


@dataclass(frozen=True)
class Row:
    """One published value: what is asked, with which inputs, and what must come out within an absolute tolerance."""

    check: str
    inputs: Any
    expected: Any
    tolerance: float
    source: str
    page: str
    mark: str

    def __str__(self) -> str:
        return f"{self.check} {json.dumps(self.inputs)}"[:60]


def rows_of(name: str) -> list[Row]:
    """Return the rows of `name` beside this file."""
    with (Path(__file__).parent / name).open(newline="", encoding="utf-8") as file:
        return [
            Row(
                row["check"],
                json.loads(row["inputs"]),
                json.loads(row["expected"]),
                float(row["tolerance"]),
                row["source"],
                row["page"],
                row["mark"],
            )
            for row in csv.DictReader(file)
        ]
