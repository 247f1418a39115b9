"""Read the typed fields of a JSON object and collect every fault instead of stopping at the first."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Sequence
from typing import Any

from .duplicate_keys import hidden_faults, json_type_text
from .errors import WHOLE_DOCUMENT, BadInput, DocumentFault
from .numbers import Bounds, read_number, read_whole

LONE_SURROGATE = re.compile("[\\ud800-\\udfff]")  # JSON can hold half of a pair, UTF-8 cannot


class _Required:
    """Marks a field that has no default."""


REQUIRED = _Required()


class Reader:
    """Reads the typed fields of one JSON object; a wrong field becomes a fault and reading goes on.

    A wrong field returns a stand-in of the right type (NaN, 0, empty text). So compute nothing from the values before
    `finish` has been called on the outermost reader; it raises BadInput with every fault.
    """

    def __init__(self, value: object, path: str = "", faults: list[DocumentFault] | None = None) -> None:
        self.path = path
        self.faults: list[DocumentFault] = [] if faults is None else faults
        self.usable = isinstance(value, dict)
        self._fields: dict[str, Any] = value if isinstance(value, dict) else {}
        self._known: list[str] = []
        if not self.usable:
            self.fault(None, f"It must be an object with named fields, not {json_type_text(value)}.")
        for key in getattr(value, "twice", ()):
            self.fault(key, "This field occurs more than once; keep one.")

    # -- places and faults -------------------------------------------------------------------------------------------

    def at(self, name: str | None) -> str:
        """Return the path of a field of this object, or of the object itself for None."""
        if name is None:
            return self.path or WHOLE_DOCUMENT
        shown = name if name.isprintable() and name else json.dumps(name)
        return f"{self.path}.{shown}" if self.path else shown

    def fault(self, name: str | None, sentence: str) -> None:
        """Note that a field, or the whole object for None, is wrong."""
        self.fault_at(self.at(name), sentence)

    def fault_at(self, path: str, sentence: str) -> None:
        """Note a fault at a path that the caller gives, such as ``sizes[2]``."""
        self.faults.append(DocumentFault(path, sentence))

    def has(self, name: str) -> bool:
        """Return whether the field is there and not null; from now on it counts as known."""
        self._know(name)
        return self._fields.get(name) is not None

    def names(self) -> list[str]:
        """Return the fields of an object with free names (tubs, loci); all of them count as known from now on."""
        self._known.extend(key for key in self._fields if key not in self._known)
        return list(self._fields)

    def _know(self, name: str) -> None:
        if name not in self._known:
            self._known.append(name)

    def _take(self, name: str, default: object) -> Any:
        """Return the raw value, the default, or REQUIRED after noting that the field is missing."""
        self._know(name)
        if name in self._fields:
            return self._fields[name]
        if default is REQUIRED and self.usable:
            self.fault(name, "This field is missing.")
        return default

    # -- single values -----------------------------------------------------------------------------------------------

    def number(
        self,
        name: str,
        *,
        low: float | None = None,
        high: float | None = None,
        above: float | None = None,
        below: float | None = None,
        default: float | _Required = REQUIRED,
    ) -> float:
        """Return a finite number within [low, high], or strictly above/below a bound; NaN after a fault."""
        value = self._take(name, default)
        if value is REQUIRED:
            return math.nan
        return self._number(value, self.at(name), Bounds(low, high, above, below))

    def number_or_none(
        self,
        name: str,
        *,
        low: float | None = None,
        high: float | None = None,
        above: float | None = None,
        below: float | None = None,
    ) -> float | None:
        """Return a number as `number` does, or None when the field is absent or null."""
        if not self.has(name):
            return None
        return self._number(self._fields[name], self.at(name), Bounds(low, high, above, below))

    def whole(
        self, name: str, *, low: int | None = None, high: int | None = None, default: int | _Required = REQUIRED
    ) -> int:
        """Return a whole number (10.0 counts as 10); 0 after a fault."""
        value = self._take(name, default)
        if value is REQUIRED:
            return 0
        return self._whole(value, self.at(name), Bounds(low, high))

    def whole_or_none(self, name: str, *, low: int | None = None, high: int | None = None) -> int | None:
        """Return a whole number, or None when the field is absent or null."""
        return self._whole(self._fields[name], self.at(name), Bounds(low, high)) if self.has(name) else None

    def text(self, name: str, *, default: str | _Required = REQUIRED) -> str:
        """Return a text; empty after a fault."""
        value = self._take(name, default)
        return "" if value is REQUIRED else self._text(value, self.at(name))

    def choice(self, name: str, options: Sequence[str], *, default: str | _Required = REQUIRED) -> str:
        """Return one of the given words; empty after a fault."""
        value = self._take(name, default)
        if value is REQUIRED:
            return ""
        if isinstance(value, str) and value in options:
            return value
        shown = json.dumps(value) if isinstance(value, str) else json_type_text(value)
        self.fault(name, f"It is {shown}, but it must be one of: {', '.join(options)}.")
        return ""

    def flag(self, name: str, *, default: bool | _Required = REQUIRED) -> bool:
        """Return true or false; false after a fault."""
        value = self._take(name, default)
        if isinstance(value, bool):
            return value
        if value is not REQUIRED:
            self.fault(name, f"It must be true or false, not {json_type_text(value)}.")
        return False

    def value(self, name: str, *, default: object = REQUIRED) -> Any:
        """Return the raw value (None after a fault), for fields whose form the caller checks itself.

        Repeated keys and numbers that are not finite inside it are still noted.
        """
        value = self._take(name, default)
        if value is REQUIRED:
            return None
        self.faults.extend(hidden_faults(value, self.at(name)))
        return value

    # -- lists and objects -------------------------------------------------------------------------------------------

    def items(self, name: str, *, least: int = 0, default: Sequence[Any] | _Required = REQUIRED) -> list[Any]:
        """Return a list of raw values; empty after a fault."""
        value = self._take(name, default)
        if value is REQUIRED:
            return []
        if not isinstance(value, list | tuple):
            self.fault(name, f"It must be a list, not {json_type_text(value)}.")
            return []
        if len(value) < least:
            self.fault(name, f"It has {len(value)} entries, but it needs at least {least}.")
        return list(value)

    def numbers(
        self,
        name: str,
        *,
        least: int = 0,
        low: float | None = None,
        high: float | None = None,
        above: float | None = None,
        below: float | None = None,
        default: Sequence[float] | _Required = REQUIRED,
    ) -> list[float]:
        """Return a list of finite numbers, each within the bounds; NaN replaces a wrong number."""
        bounds = Bounds(low, high, above, below)
        values = self.items(name, least=least, default=default)
        return [self._number(value, f"{self.at(name)}[{place}]", bounds) for place, value in enumerate(values)]

    def wholes(
        self,
        name: str,
        *,
        least: int = 0,
        low: int | None = None,
        high: int | None = None,
        default: Sequence[int] | _Required = REQUIRED,
    ) -> list[int]:
        """Return a list of whole numbers; 0 replaces a wrong number."""
        bounds = Bounds(low, high)
        values = self.items(name, least=least, default=default)
        return [self._whole(value, f"{self.at(name)}[{place}]", bounds) for place, value in enumerate(values)]

    def rows(
        self, name: str, *, least: int = 0, low: float | None = None, high: float | None = None
    ) -> list[list[float]]:
        """Return a list of lists of numbers in which null is allowed and becomes NaN (a missing value)."""
        table: list[list[float]] = []
        for place, row in enumerate(self.items(name, least=least)):
            path = f"{self.at(name)}[{place}]"
            if not isinstance(row, list | tuple):
                self.fault_at(path, f"It must be a list of numbers, not {json_type_text(row)}.")
                continue
            table.append(self._with_gaps(row, path, Bounds(low, high)))
        return table

    def series(self, name: str, *, least: int = 0, low: float | None = None, high: float | None = None) -> list[float]:
        """Return a list of numbers in which null is allowed and becomes NaN (a missing value)."""
        return self._with_gaps(self.items(name, least=least), self.at(name), Bounds(low, high))

    def texts(self, name: str, *, least: int = 0, default: Sequence[str] | _Required = REQUIRED) -> list[str]:
        """Return a list of texts; an empty text replaces a wrong value."""
        values = self.items(name, least=least, default=default)
        return [self._text(value, f"{self.at(name)}[{place}]") for place, value in enumerate(values)]

    def object(self, name: str) -> Reader:
        """Return the reader of a required object; for a missing object, a reader that reports nothing more."""
        value = self._take(name, REQUIRED)
        if value is REQUIRED:
            return _silent(self.at(name), self.faults)
        return Reader(value, self.at(name), self.faults)

    def object_or_none(self, name: str) -> Reader | None:
        """Return the reader of an optional object, or None when it is absent or null."""
        return Reader(self._fields[name], self.at(name), self.faults) if self.has(name) else None

    def objects(self, name: str, *, least: int = 0, default: Sequence[Any] | _Required = REQUIRED) -> list[Reader]:
        """Return one reader for each object of a list."""
        values = self.items(name, least=least, default=default)
        return [Reader(value, f"{self.at(name)}[{place}]", self.faults) for place, value in enumerate(values)]

    def exactly_one(self, names: Sequence[str]) -> str | None:
        """Return the only one of these fields that is there; None and a fault when none or several are."""
        present = [name for name in names if self.has(name)]
        if len(present) == 1:
            return present[0]
        if self.usable:
            there = "none of them is there" if not present else f"{' and '.join(present)} are there"
            self.fault(None, f"Exactly one of {', '.join(names)} is needed, but {there}.")
        return None

    # -- ends --------------------------------------------------------------------------------------------------------

    def done(self) -> None:
        """Note a fault for every unknown field."""
        known = ", ".join(sorted(self._known)) or "none"
        for key in self._fields:
            if key not in self._known:
                self.fault(key, f"This field is not known here. Known fields: {known}.")

    def finish(self) -> None:
        """Note unknown fields, then raise BadInput if there is any fault."""
        self.done()
        if self.faults:
            raise BadInput(dict.fromkeys(self.faults))

    # -- checks ------------------------------------------------------------------------------------------------------

    def _text(self, value: Any, path: str) -> str:
        if not isinstance(value, str):
            self.fault_at(path, f"It must be text, not {json_type_text(value)}.")
            return ""
        if LONE_SURROGATE.search(value):
            self.fault_at(path, "It holds half of a character (\\ud800 to \\udfff alone). Correct it.")
            return ""
        return value

    def _number(self, value: Any, path: str, bounds: Bounds) -> float:
        return read_number(value, bounds, lambda sentence: self.fault_at(path, sentence))

    def _with_gaps(self, values: Sequence[Any], path: str, bounds: Bounds) -> list[float]:
        return [
            math.nan if value is None else self._number(value, f"{path}[{place}]", bounds)
            for place, value in enumerate(values)
        ]

    def _whole(self, value: Any, path: str, bounds: Bounds) -> int:
        return read_whole(value, bounds, lambda sentence: self.fault_at(path, sentence))


def _silent(path: str, faults: list[DocumentFault]) -> Reader:
    """Return a reader for a missing object, so that its fields are not reported as missing too."""
    reader = Reader({}, path, faults)
    reader.usable = False
    return reader
