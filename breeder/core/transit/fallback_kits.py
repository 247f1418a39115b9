"""Try more kits for a box when the shelf runs out of the kits tried first.

The board tries kits by cost until some may go. If the shelf then runs out of those, more expensive ones may still do.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date

from breeder.core.thermal.verdict import NOT_DECIDED
from breeder.core.transit.results import BoxQuestion, Cell
from breeder.core.transit.schedule import Shelf, ShippingPlan, UnplannedBox


def fallback_questions(
    boxes: Sequence[UnplannedBox], plan: ShippingPlan, asked: Mapping[tuple[int, date], BoxQuestion], shelf: Shelf
) -> list[BoxQuestion]:
    """Return questions for boxes whose kits ran out, with the untried kits that the shelf can still supply.

    They cover all days of a box that got no day, and the days before the one that another box got.
    """
    wider = []
    for box in boxes:
        assigned = plan.assignment(box.number)
        for cell in box.cells:
            if assigned and assigned.on <= cell.on:
                continue
            tried = {option.candidate.kit_id for option in cell.options}
            question = asked[(box.number, cell.on)]
            more = [kit for kit in question.candidates if kit.kit_id not in tried]
            rest = tuple(kit for kit in more if not shelf.lacks(kit.kit_id, plan.left))
            # If hours are missing, no other kit would be decided either.
            if rest and all(option.decided != NOT_DECIDED for option in cell.options):
                wider.append(replace(question, candidates=rest))
    return wider


def with_fallback_kits(boxes: Sequence[UnplannedBox], cells: Sequence[Cell]) -> list[UnplannedBox]:
    """Return the boxes with the results of the additional kits added to their days."""
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
