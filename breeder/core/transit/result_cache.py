"""Cells that were reckoned are kept: a forecast that has not changed is not reckoned again. Pure; no database."""

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import replace
from hashlib import blake2b
from threading import Lock
from typing import Any

from breeder.core.transit.results import Asked, Cell

Key = tuple[Any, ...]
KEPT = 16_384  # cells of a few hundred bytes: three boards of 400 boxes on ten days with their plans


class Memo:
    """The last cells that were reckoned, under a digest of all that they rest on."""

    def __init__(self, size: int = KEPT) -> None:
        self.size = size
        self.kept: OrderedDict[Key, Cell] = OrderedDict()
        self.lock = Lock()

    def known(self, asked: Sequence[Asked], keys: Sequence[Key]) -> list[Cell | None]:
        """Return the cells that were kept for the same questions, under the numbers of these boxes."""
        found = [self.kept.get(key) for key in keys]
        return [cell and replace(cell, number=one.number) for one, cell in zip(asked, found, strict=True)]

    def keep(self, key: Key, cell: Cell) -> None:
        """Keep a cell; the oldest makes room."""
        with self.lock:
            self.kept[key] = cell
            while len(self.kept) > self.size:
                self.kept.popitem(last=False)


def keys_of(asked: Sequence[Asked], members: int) -> list[Key]:
    """Return for each question what its answer rests on; what many questions share is digested once."""
    digests: dict[int, bytes] = {}

    def digest(thing: Any) -> bytes:
        if id(thing) not in digests:
            digests[id(thing)] = blake2b(repr(thing).encode(), digest_size=16).digest()
        return digests[id(thing)]

    return [
        (
            digest(one.journey),
            tuple((first.digest, last.digest) for first, last in one.readings),
            digest(one.candidates),
            digest(one.animals),
            one.seed,
            one.is_thorough,
            one.weather_known,
            members,
        )
        for one in asked
    ]
