"""The faults of a document: each with its place, all of them in one exception."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

WHOLE_DOCUMENT = "document"  # the path of a fault that belongs to no field


@dataclass(frozen=True)
class DocumentFault:
    """One fault of the input: its path and a whole sentence about it."""

    path: str
    sentence: str

    def __str__(self) -> str:
        return f"{self.path}: {self.sentence}"


class BadInput(Exception):
    """The document cannot be answered; `faults` holds everything that is wrong with it."""

    def __init__(self, faults: Iterable[DocumentFault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))
