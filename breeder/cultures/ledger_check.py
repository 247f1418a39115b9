"""The proof of the book: every tub replayed from its ledger and held against what is stored of it."""

import math
from collections.abc import Iterator, Set
from dataclasses import dataclass
from typing import Any

from breeder.core.stock import Ageing
from breeder.cultures import belief_store
from breeder.cultures.models import Belief, Culture, Entry, Stage
from breeder.cultures.tub_ledger import COUNTING_KINDS, Held, Ledger, void_ids
from breeder.species.models import Line

TOLERANCE = 1e-9  # relative: what two libraries of mathematics may differ by, far below one animal


@dataclass(frozen=True)
class Difference:
    """One value of one tub and stage that the ledger does not bear out."""

    tub: int
    stage: str
    value: str
    stored: str
    replayed: str


def differences() -> Iterator[Difference]:
    """Yield every difference between what is stored and what the ledger says, tub by tub.

    Tubs that were ever tipped together are read together, once, and what was put right is read once for all; so the
    work grows with the entries, not with the entries times the moves.
    """
    void = void_ids(Entry.objects.filter(kind=Entry.Kind.CORRECT).only("pk", "corrects_id"))
    read: dict[int, Ledger] = {}
    for tub in Culture.objects.select_related("line__species").order_by("number").iterator():
        if tub.pk not in read:
            book, together = belief_store.load({tub.pk}, as_stored=True)
            read |= dict.fromkeys(together, book)
        yield from differences_of(tub, read.pop(tub.pk), void)


def differences_of(tub: Culture, book: Ledger, void: Set[int]) -> Iterator[Difference]:
    """Yield the differences of one tub, each stage reckoned with the constants that its stored belief was made with.

    `void` are the entries of the whole book that were put right.
    """
    stored = {row.stage: row for row in Belief.objects.filter(culture=tub)}
    yield from _one_sided(tub, book, void)
    for stage in belief_store.stages_of(book, tub.pk):
        held = book.held(tub.pk, stage)
        ageing = book.ageing(tub.pk)
        yield from _compared(tub, stage, stored.get(stage), _columns(held, ageing))
    if tub.line.sold_by == Line.SoldBy.CUP:
        row, columns = stored.get(Stage.CUPS.value), belief_store.cup_columns(tub)
        yield from _compared(tub, Stage.CUPS.value, row, _told_as_in(row, columns))


def _columns(held: Held, ageing: Ageing) -> dict[str, Any] | None:
    return None if held.belief is None else belief_store.columns_of(held, ageing)


def _told_as_in(row: Belief | None, columns: dict[str, Any] | None) -> dict[str, Any] | None:
    """Return the columns of a tub's cups with days in place of moments, where the row of an older book holds days."""
    if row is None or columns is None or any("T" in told for told, _ in row.used["taken"]):
        return columns
    days = [[told.split("T")[0], number] for told, number in columns["used"]["taken"]]
    return columns | {"used": {"taken": days}}


def _compared(tub: Culture, stage: str, row: Belief | None, columns: dict[str, Any] | None) -> Iterator[Difference]:
    if row is None or columns is None:
        if (row is None) != (columns is None):
            told = ("nothing", "a belief") if row is None else ("a belief", "nothing")
            yield Difference(tub.number, stage, "belief", *told)
        return
    for name, replayed in columns.items():
        value = _without_news(getattr(row, name))
        if not alike(value, replayed):
            yield Difference(tub.number, stage, name, _said(value), _said(replayed))


def _without_news(value: Any) -> Any:
    """Return a value without what is only kept to tell the keeper what it was before."""
    return (
        {name: one for name, one in value.items() if name != belief_store.BEFORE} if isinstance(value, dict) else value
    )


def alike(stored: Any, replayed: Any) -> bool:
    """Return whether two values, or all values in two JSON documents, are the same but for the last digits."""
    if isinstance(stored, dict) and isinstance(replayed, dict):
        return stored.keys() == replayed.keys() and all(alike(stored[key], replayed[key]) for key in stored)
    if isinstance(stored, list | tuple) and isinstance(replayed, list | tuple):
        return len(stored) == len(replayed) and all(alike(a, b) for a, b in zip(stored, replayed, strict=True))
    if isinstance(stored, float) and isinstance(replayed, float | int):
        return math.isclose(stored, replayed, rel_tol=TOLERANCE, abs_tol=TOLERANCE)
    return bool(stored == replayed)


def _one_sided(tub: Culture, book: Ledger, void: Set[int]) -> Iterator[Difference]:
    """Yield the moves into this tub whose other side is missing, put right alone, or not of the same number."""
    stages = (Stage.ADULTS.value, Stage.YOUNG.value)
    moved = [entry for stage in stages for entry in book.entries_of(tub.pk, stage) if _came_over(entry)]
    outs = Entry.objects.select_related("culture").in_bulk([entry.other_side_id for entry in moved])
    for entry in moved:
        out = outs[entry.other_side_id]
        standing = out.pk not in void and out.kind in COUNTING_KINDS
        if not standing or (out.number or 0) != -(entry.number or 0):
            left = f"{out.number} out of tub {out.culture.number}" if standing else "its other side was put right"
            yield Difference(tub.number, entry.stage, f"entry {entry.pk}", f"{entry.number} moved in", left)


def _said(value: Any) -> str:
    return f"{value:.4f}" if isinstance(value, float) else str(value)


def _came_over(entry: Entry) -> bool:
    """Return whether an entry is the second side of a move; the facts of one visit of the round are linked alike."""
    moved = entry.kind == Entry.Kind.ABOUT or entry.reason == Entry.Reason.MOVED
    return moved and entry.other_side_id is not None
