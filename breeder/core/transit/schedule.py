"""A day and a kit for every box that waits: by an aim, so many boxes a day, out of one shelf counted down. Pure."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from breeder.core.days import day_text
from breeder.core.transit.results import Cell, Option


class Aim(StrEnum):
    """What a plan for all boxes is made for."""

    EARLIEST = "earliest"
    FEWEST = "fewest"
    CHEAPEST = "cheapest"


@dataclass(frozen=True)
class Waits:
    """A box that wants a day, with what each day says."""

    number: int
    promised_by: date | None
    cells: tuple[Cell, ...]

    @property
    def turn(self) -> tuple[date, int]:
        """Return its place among all: by promised date, then number."""
        return self.promised_by or date.max, self.number

    @property
    def timely(self) -> tuple[Cell, ...]:
        """Return its days on which some kit may go, up to the promised date; later ones where there is none."""
        going = [cell for cell in self.cells if cell.going]
        on_time = [cell for cell in going if self.promised_by is None or cell.on <= self.promised_by]
        return tuple(on_time or going)


@dataclass(frozen=True)
class Shelf:
    """What is on the shelf by supply, what each kit uses up, and what the supplies are called."""

    on_shelf: Mapping[int, int]
    parts: Mapping[int, Mapping[int, int]]
    names: Mapping[int, str]

    def lacks(self, kit_id: int | None, left: Mapping[int, int]) -> list[int]:
        """Return the supplies of which so little is left that the kit cannot be made up."""
        return [supply for supply, number in self.parts.get(kit_id or 0, {}).items() if left[supply] < number]


@dataclass(frozen=True)
class Given:
    """The day and kit that a box gets."""

    number: int
    on: date
    option: Option
    is_late: bool


@dataclass(frozen=True)
class Spread:
    """Every box with its day, those that find none, what the shelf is short of, and what is left on it by supply."""

    given: tuple[Given, ...]
    without: tuple[int, ...]
    shortages: tuple[str, ...]
    left: Mapping[int, int]

    @property
    def days(self) -> int:
        """Return on how many days something is packed."""
        return len({one.on for one in self.given})

    @property
    def cost(self) -> float:
        """Return what all kits cost together."""
        return sum(one.option.candidate.cost for one in self.given)

    def of(self, number: int) -> Given | None:
        """Return what a box gets."""
        return next((one for one in self.given if one.number == number), None)


@dataclass
class _Bench:
    """The shelf and the days as they fill up."""

    shelf: Shelf
    boxes_a_day: int
    taken: Counter[date]
    left: dict[int, int]
    given: dict[int, Given] = field(default_factory=dict)
    lacked: dict[int, set[int]] = field(default_factory=dict)

    def best(self, cell: Cell, number: int) -> Option | None:
        """Return the kit that a day takes first of those that the shelf still holds; note what it lacked."""
        if self.taken[cell.on] >= self.boxes_a_day:
            return None
        for option in cell.going:
            short = self.shelf.lacks(option.candidate.kit_id, self.left)
            if not short:
                return option
            for supply in short:
                self.lacked.setdefault(supply, set()).add(number)
        return None

    def give(self, box: Waits, cell: Cell, option: Option) -> None:
        self.take(option.candidate.kit_id, cell.on)
        late = box.promised_by is not None and cell.on > box.promised_by
        self.given[box.number] = Given(box.number, cell.on, option, late)

    def take(self, kit_id: int | None, on: date | None) -> None:
        if on is not None:
            self.taken[on] += 1
        for supply, number in self.shelf.parts.get(kit_id or 0, {}).items():
            self.left[supply] = max(0, self.left[supply] - number)


def spread(
    boxes: Sequence[Waits],
    shelf: Shelf,
    aim: Aim,
    *,
    boxes_a_day: int,
    packed: Iterable[tuple[int | None, date | None]] = (),
) -> Spread:
    """Return a day and a kit for each box, in order of promised date; `packed`: kit and day of boxes that stand ready.

    Every box counts its kit down from one shelf, so the last packs go to those that were promised first.
    """
    bench = _Bench(shelf, boxes_a_day, Counter(), dict(shelf.on_shelf))
    for kit_id, on in packed:
        bench.take(kit_id, on)
    order = sorted(boxes, key=lambda box: box.turn)
    if aim == Aim.FEWEST:
        _fewest(order, bench)
    else:
        for box in order:
            _place(box, bench, by_cost=aim == Aim.CHEAPEST)
    without = tuple(box.number for box in order if box.number not in bench.given)
    return Spread(tuple(bench.given.values()), without, tuple(_short_said(bench, order)), bench.left)


def _place(box: Waits, bench: _Bench, *, by_cost: bool) -> None:
    found = [(cell, option) for cell in box.timely if (option := bench.best(cell, box.number))]
    if not found:
        # Everything up to the promised date is full or lacks a pack: later is better than never.
        found = [(cell, option) for cell in box.cells if (option := bench.best(cell, box.number))]
    if found:
        bench.give(box, *min(found, key=lambda row: (row[1].candidate.cost if by_cost else 0.0, row[0].on)))


def _fewest(order: Sequence[Waits], bench: _Bench) -> None:
    """Fill the day that serves the most boxes first, then the next; ties to the earlier day."""
    waiting = list(order)
    while waiting:
        serves: Counter[date] = Counter()
        for box in waiting:
            serves.update(cell.on for cell in box.timely if bench.best(cell, box.number))
        if not serves:
            break
        on = min(serves, key=lambda day: (-min(serves[day], bench.boxes_a_day - bench.taken[day]), day))
        for box in waiting:
            cell = next((cell for cell in box.timely if cell.on == on), None)
            if cell and (option := bench.best(cell, box.number)):
                bench.give(box, cell, option)
        waiting = [box for box in waiting if box.number not in bench.given]
    for box in waiting:
        _place(box, bench, by_cost=False)


def _short_said(bench: _Bench, order: Sequence[Waits]) -> list[str]:
    """Return who gets the last of each supply that ran out, and what becomes of the others."""
    said = []
    for supply, numbers in bench.lacked.items():
        has = [
            box.number
            for box in order
            if (given := bench.given.get(box.number))
            and supply in bench.shelf.parts.get(given.option.candidate.kit_id, {})
        ]
        others = [number for number in sorted(numbers) if number not in has]
        if not others:
            continue
        who = f"{'box' if len(has) == 1 else 'boxes'} {', '.join(map(str, has))} {'gets' if len(has) == 1 else 'get'}"
        gets = f"{who} them, in order of promised date" if has else "no box gets one"
        said.append(
            f"{bench.shelf.names[supply]}: {bench.shelf.on_shelf[supply]} on the shelf, too few for all; {gets}. "
            + " ".join(_instead(bench, number) for number in others)
        )
    return said


def _instead(bench: _Bench, number: int) -> str:
    given = bench.given.get(number)
    if given is None:
        return f"Box {number} finds no day without it."
    first = min(other.on for other in bench.given.values())
    on = day_text(given.on, this_year=first.year, weekday=True)
    return f"Box {number} goes in {given.option.candidate.name} on {on}."
