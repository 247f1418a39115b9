"""Cache the cells of the board, so that an unchanged forecast is not computed again."""

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import replace
from hashlib import blake2b
from threading import Lock
from typing import Any

from breeder.core.transit.results import BoxQuestion, Cell

Key = tuple[Any, ...]
KEPT = 16_384  # cells of a few hundred bytes: three boards of 400 boxes on ten days with their plans


class ResultCache:
    """The last cells that were computed, by a digest of everything they depend on."""

    def __init__(self, size: int = KEPT) -> None:
        self.size = size
        self.kept: OrderedDict[Key, Cell] = OrderedDict()
        self.lock = Lock()

    def known(self, asked: Sequence[BoxQuestion], keys: Sequence[Key]) -> list[Cell | None]:
        """Return the cached cells for the same questions, with the numbers of these boxes."""
        cells = [self.kept.get(key) for key in keys]
        return [cell and replace(cell, number=question.number) for question, cell in zip(asked, cells, strict=True)]

    def keep(self, key: Key, cell: Cell) -> None:
        """Keep a cell; the oldest one makes room."""
        with self.lock:
            self.kept[key] = cell
            while len(self.kept) > self.size:
                self.kept.popitem(last=False)


def cache_keys(asked: Sequence[BoxQuestion], members: int) -> list[Key]:
    """Return a key for each question with everything its answer depends on; shared parts are digested once."""
    digests: dict[int, bytes] = {}

    def digest(thing: Any) -> bytes:
        if id(thing) not in digests:
            digests[id(thing)] = blake2b(repr(thing).encode(), digest_size=16).digest()
        return digests[id(thing)]

    return [
        (
            digest(question.journey),
            tuple((first.digest, last.digest) for first, last in question.readings),
            digest(question.candidates),
            digest(question.animals),
            question.seed,
            question.is_thorough,
            question.weather_known,
            members,
        )
        for question in asked
    ]
