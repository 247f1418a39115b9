"""Choose a day and a kit for every waiting box, with a limit of boxes a day and one shelf of supplies for all."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from breeder.core.days import day_text
from breeder.core.transit.results import Cell, Option


class Aim(StrEnum):
    """The goal of a plan for all boxes."""

    EARLIEST = "earliest"
    FEWEST = "fewest"
    CHEAPEST = "cheapest"


@dataclass(frozen=True)
class UnplannedBox:
    """A box that needs a day, with the results for each day."""

    number: int
    promised_by: date | None
    cells: tuple[Cell, ...]

    @property
    def turn(self) -> tuple[date, int]:
        """Return its sort key: by promised date, then number."""
        return self.promised_by or date.max, self.number

    @property
    def timely(self) -> tuple[Cell, ...]:
        """Return its days with a kit that may go, up to the promised date; later ones if there are none."""
        going = [cell for cell in self.cells if cell.going]
        on_time = [cell for cell in going if self.promised_by is None or cell.on <= self.promised_by]
        return tuple(on_time or going)


@dataclass(frozen=True)
class Shelf:
    """How many of each supply are on the shelf, what each kit uses up, and the names of the supplies."""

    on_shelf: Mapping[int, int]
    parts: Mapping[int, Mapping[int, int]]
    names: Mapping[int, str]

    def lacks(self, kit_id: int | None, left: Mapping[int, int]) -> list[int]:
        """Return the supplies that are too few to make up the kit."""
        return [supply for supply, number in self.parts.get(kit_id or 0, {}).items() if left[supply] < number]


@dataclass(frozen=True)
class PlannedBox:
    """The day and the kit that a box gets."""

    number: int
    on: date
    option: Option
    is_late: bool


@dataclass(frozen=True)
class ShippingPlan:
    """Every box with its day, boxes without one, sentences about shortages, and what is left of each supply."""

    given: tuple[PlannedBox, ...]
    without: tuple[int, ...]
    shortages: tuple[str, ...]
    left: Mapping[int, int]

    @property
    def days(self) -> int:
        """Return the number of days with at least one box."""
        return len({given.on for given in self.given})

    @property
    def cost(self) -> float:
        """Return the total cost of all kits."""
        return sum(given.option.candidate.cost for given in self.given)

    def assignment(self, number: int) -> PlannedBox | None:
        """Return the day and kit of a box, or None."""
        return next((given for given in self.given if given.number == number), None)


@dataclass
class _Bench:
    """The shelf and the days while boxes are being placed."""

    shelf: Shelf
    boxes_a_day: int
    taken: Counter[date]
    left: dict[int, int]
    given: dict[int, PlannedBox] = field(default_factory=dict)
    lacked: dict[int, set[int]] = field(default_factory=dict)

    def best(self, cell: Cell, number: int) -> Option | None:
        """Return the best kit for a day that the shelf can still supply; note the supplies that ran out."""
        if self.taken[cell.on] >= self.boxes_a_day:
            return None
        for option in cell.going:
            short = self.shelf.lacks(option.candidate.kit_id, self.left)
            if not short:
                return option
            for supply in short:
                self.lacked.setdefault(supply, set()).add(number)
        return None

    def give(self, box: UnplannedBox, cell: Cell, option: Option) -> None:
        self.take(option.candidate.kit_id, cell.on)
        late = box.promised_by is not None and cell.on > box.promised_by
        self.given[box.number] = PlannedBox(box.number, cell.on, option, late)

    def take(self, kit_id: int | None, on: date | None) -> None:
        if on is not None:
            self.taken[on] += 1
        for supply, number in self.shelf.parts.get(kit_id or 0, {}).items():
            self.left[supply] = max(0, self.left[supply] - number)


def plan_boxes(
    boxes: Sequence[UnplannedBox],
    shelf: Shelf,
    aim: Aim,
    *,
    boxes_a_day: int,
    packed: Iterable[tuple[int | None, date | None]] = (),
) -> ShippingPlan:
    """Return a day and a kit for each box, in order of promised date; `packed`: kit and day of boxes already packed.

    All boxes take their kits from one shelf, so the last packs go to the boxes that were promised first.
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
    return ShippingPlan(tuple(bench.given.values()), without, tuple(_shortage_texts(bench, order)), bench.left)


def _place(box: UnplannedBox, bench: _Bench, *, by_cost: bool) -> None:
    choices = [(cell, option) for cell in box.timely if (option := bench.best(cell, box.number))]
    if not choices:
        # Every day up to the promised date is full or lacks a pack: better late than never.
        choices = [(cell, option) for cell in box.cells if (option := bench.best(cell, box.number))]
    if choices:
        bench.give(box, *min(choices, key=lambda row: (row[1].candidate.cost if by_cost else 0.0, row[0].on)))


def _fewest(order: Sequence[UnplannedBox], bench: _Bench) -> None:
    """Fill the day that suits the most boxes first, then the next; the earlier day wins a tie."""
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


def _shortage_texts(bench: _Bench, order: Sequence[UnplannedBox]) -> list[str]:
    """Return a sentence for each supply that ran out: which boxes get it, and what happens to the others."""
    sentences = []
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
        sentences.append(
            f"{bench.shelf.names[supply]}: {bench.shelf.on_shelf[supply]} on the shelf, too few for all; {gets}. "
            + " ".join(_instead(bench, number) for number in others)
        )
    return sentences


def _instead(bench: _Bench, number: int) -> str:
    given = bench.given.get(number)
    if given is None:
        return f"Box {number} gets no day without it."
    first = min(other.on for other in bench.given.values())
    on = day_text(given.on, this_year=first.year, weekday=True)
    return f"Box {number} goes in {given.option.candidate.name} on {on}."
