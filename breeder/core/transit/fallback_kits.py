"""A box whose kits run out on the shelf is tried in those that nobody had to try before. Pure; no database.

The board tries kits by cost until some may go; where the shelf then runs short of those, dearer ones may still do.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date

from breeder.core.thermal.verdict import NOT_DECIDED
from breeder.core.transit.results import Asked, Cell
from breeder.core.transit.schedule import Shelf, Spread, Waits


def questions(
    boxes: Sequence[Waits], found: Spread, asked: Mapping[tuple[int, date], Asked], shelf: Shelf
) -> list[Asked]:
    """Return the questions of boxes whose kits ran out, only of kits not tried yet that what is left makes up.

    Asked are the days of a box that found none, and those before the day of a box that found a later one.
    """
    wider = []
    for box in boxes:
        given = found.of(box.number)
        for cell in box.cells:
            if given and given.on <= cell.on:
                continue
            tried = {option.candidate.kit_id for option in cell.options}
            one = asked[(box.number, cell.on)]
            more = [kit for kit in one.candidates if kit.kit_id not in tried]
            rest = tuple(kit for kit in more if not shelf.lacks(kit.kit_id, found.left))
            # Where hours lack, no further kit would be decided either.
            if rest and all(option.decided != NOT_DECIDED for option in cell.options):
                wider.append(replace(one, candidates=rest))
    return wider


def widened(boxes: Sequence[Waits], cells: Sequence[Cell]) -> list[Waits]:
    """Return the boxes with what came of the further kits put to their days."""
    more = {(cell.number, cell.on): cell.options for cell in cells}
    return [
        replace(
            box,
            cells=tuple(
                replace(cell, options=(*cell.options, *more.get((box.number, cell.on), ()))) for cell in box.cells
            ),
        )
        for box in boxes
    ]
