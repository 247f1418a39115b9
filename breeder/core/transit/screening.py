"""The sums of the board and of a check, by the same engine. Pure; no database.

The board: many boxes on many days in every kit, over few members of the same draws.

Boxes that go the same way share what surrounds them; kits are swept over all ways at once, in order of cost until one
goes easily and two may go, or in earnest until one goes easily. A delay case that cannot change a No-go any more is
left out. A check leaves out nothing: every kit is tried on every delay case, and all that members feel is kept.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from typing import Any

from breeder.core.thermal.ensemble_draws import Draws, draws
from breeder.core.thermal.evaluate_kit import try_kit
from breeder.core.thermal.verdict import GO, HARM, NO_GO, NOT_DECIDED
from breeder.core.transit import ambient_ensemble, rule_of_thumb
from breeder.core.transit.ambient_ensemble import Members
from breeder.core.transit.batch_air import Air
from breeder.core.transit.result_cache import Memo, keys_of
from breeder.core.transit.results import Asked, Cell, Option
from breeder.core.transit.tally import Tally, Way, melts, sweep_all, sweep_once
from breeder.core.transit.trial_result import START_C, Candidate, Trial, Tried

SCREENED = 48  # members of a day on the board: odds of 1 in 20 are then known to 3 hundredths
# Members of boxes and days that are reckoned together, in three delay cases about 90 MB. One thread of a process does
# it all: the sums are many and short, so that two threads wait for each other longer than they gain.
MEMBERS_AT_ONCE = 24_000
# A kit that melts is given up after so many members of the first case when half of them fail.
FIRST_LOOK, HOPELESS = 16, 0.5
# Kits are tried by cost until one goes easily, as a check takes them, and two may go: the second is for a shelf that
# runs short of the first, and tried on no more members than a screening. Kits that melt are slow: none is tried for the
# second's sake, and where another may go they too are only screened.
ENOUGH = 2

Blocks = Sequence[Sequence[Asked]]
Work = Callable[[Sequence[Asked]], list[Cell]]
By = Callable[[Work, Blocks], Iterable[tuple[int, list[Cell]]]]


def one_by_one(work: Work, blocks: Blocks) -> Iterable[tuple[int, list[Cell]]]:
    """Yield each block's place and its cells, all worked out in this process."""
    for place, block in enumerate(blocks):
        yield place, work(block)


def cells_of(
    asked: Sequence[Asked],
    *,
    members: int = SCREENED,
    memo: Memo | None = None,
    told: Callable[[int, int], None] | None = None,
    by: By = one_by_one,
) -> list[Cell]:
    """Return the cell of each question in its order; `told(done, all)` is called as the work goes on.

    `by` says who works on the blocks: this process alone, or a second one too (`base.worker.share_work`).
    """
    keys = keys_of(asked, members) if memo else []
    cells = memo.known(asked, keys) if memo else [None] * len(asked)
    rest = sorted((place for place, cell in enumerate(cells) if cell is None), key=lambda place: _way(asked[place]))
    size = max(1, MEMBERS_AT_ONCE // members)
    blocks = [rest[first : first + size] for first in range(0, len(rest), size)]
    done = len(asked) - len(rest)
    work = partial(cells_of_block, members=members)
    for number, found in by(work, [[asked[place] for place in block] for block in blocks]):
        for place, cell in zip(blocks[number], found, strict=True):
            cells[place] = cell
            if memo:
                memo.keep(keys[place], cell)
        done += len(found)
        if told:
            told(done, len(asked))
    return [cell for cell in cells if cell is not None]


def _way(asked: Asked) -> tuple[Any, ...]:
    """Return an order in which boxes that go the same way stand together."""
    origin, destination = asked.readings[0]
    return asked.journey.post_on, asked.seed, asked.journey.to_counter, id(origin), id(destination)


@lru_cache(maxsize=64)
def drawn_of(seed: int, members: int) -> Draws:
    """Return the first members of a seed's draws; boxes of one service and day share them."""
    return draws(seed, members)


def cells_of_block(asked: Sequence[Asked], members: int) -> list[Cell]:
    """Return the cells of questions that are worked on together."""
    ways = _Ways(members)
    tallies: list[list[list[Tally]]] = []
    for one in asked:
        own = [ways.of(one, reading) for reading in one.readings]
        tallies.append([[Tally(way, candidate.kit, one.animals) for way in own] for candidate in _by_cost(one)])
    standing = [_Standing() for _ in asked]
    for turn in range(max(len(one.candidates) for one in asked)):
        open_yet = [each for each in zip(asked, tallies, standing, strict=True) if turn < len(each[1])]
        rows = []
        for one, kits, so_far in open_yet:
            if so_far.is_worth_trying(one, kits[turn]):
                if so_far.needs_few(one, kits[turn]):
                    kits[turn] = [tally.first_look(SCREENED) for tally in kits[turn]]
                rows.append(kits[turn])
        _give_up_hopeless(row for row in rows if melts(row[0].kit))
        sweep_all(tally for row in rows for tally in row if not tally.was_tried)
        for _, kits, so_far in open_yet:
            so_far.add(kits[turn])
    return [_cell(one, kits) for one, kits in zip(asked, tallies, strict=True)]


def trials_of(asked: Asked, members: int) -> list[Trial]:
    """Return what comes of every kit by each reading of both ends, over all delay cases and members."""
    ways = _Ways(members)
    return [_trial(asked, ways.of(asked, reading)) for reading in asked.readings]


def _trial(asked: Asked, way: Way) -> Trial:
    limits, tolerance = asked.animals.limits, asked.animals.tolerance
    tried = []
    for candidate in asked.candidates:
        found = try_kit(candidate.kit, way.around, limits, tolerance, start_c=START_C, draws=way.drawn)
        is_barred = way.bars(candidate.kit, found.verdict)
        tried.append(Tried(candidate, replace(found, verdict=NO_GO) if is_barred else found, is_barred))
    return Trial(way.shape.cases, way.around, tuple(tried), tolerance, way.drawn)


class _Ways:
    """What surrounds the boxes of one block; boxes that go the same way share it."""

    def __init__(self, members: int) -> None:
        self.members = members
        self.made: dict[Any, Way] = {}
        self.drawn: dict[tuple[int, bool], Members] = {}

    def of(self, asked: Asked, reading: tuple[Air, Air]) -> Way:
        """Return what surrounds a box by one reading of both ends' air."""
        origin, destination = reading
        key = (asked.journey, origin, destination, asked.seed, asked.weather_known)
        if key not in self.made:
            shape, around = (
                ambient_ensemble.shape_of(asked.journey, origin.hours, destination.hours),
                self._around(asked),
            )
            ends = ambient_ensemble.air_at_ends(shape, origin, destination)
            is_harsh = not asked.journey.to_counter and rule_of_thumb.is_harsh(*ends)
            self.made[key] = Way(shape, around.of(shape, origin, destination), around.drawn, is_harsh)
        return self.made[key]

    def _around(self, asked: Asked) -> Members:
        key = (asked.seed, asked.weather_known)
        if key not in self.drawn:
            drawn = drawn_of(asked.seed, self.members)
            self.drawn[key] = Members(drawn.without_weather_error() if asked.weather_known else drawn)
        return self.drawn[key]


def _give_up_hopeless(melting: Iterable[list[Tally]]) -> None:
    """Run a few members of the first case; where half of them fail that is the answer."""
    looks = [(row, place, tally.first_look(FIRST_LOOK)) for row in melting for place, tally in enumerate(row)]
    sweep_once(look for _, _, look in looks)
    for row, place, look in looks:
        if max(look.comfort, look.hard) >= HOPELESS * look.way.around[0].weight and look.decided == NO_GO:
            row[place] = look


@dataclass
class _Standing:
    """What came of a question's kits so far."""

    has_easy: bool = False
    going: int = 0
    is_undecided: bool = False

    def add(self, row: Sequence[Tally]) -> None:
        """Take in a kit's tallies, reading by reading; the worst reading holds."""
        decided = max((tally.decided for tally in row), key=HARM.__getitem__)
        self.has_easy |= all(tally.is_easy for tally in row)
        self.going += decided == GO
        self.is_undecided |= decided == NOT_DECIDED

    def is_worth_trying(self, asked: Asked, row: Sequence[Tally]) -> bool:
        """Return whether the next kit could still be wanted."""
        # Where missing hours rule out every Go, the cheapest kit that has not failed speaks for the dearer ones.
        is_open = self.is_undecided and any(tally.way.rules_out_go(asked.animals) for tally in row)
        # Stopping before one goes easily would choose another kit than a check does.
        has_enough = self.has_easy and (asked.is_thorough or melts(row[0].kit) or self.going >= ENOUGH)
        return not has_enough and not is_open

    def needs_few(self, asked: Asked, row: Sequence[Tally]) -> bool:
        """Return whether a screening of the next kit will do."""
        return not asked.is_thorough and (self.has_easy or self.going > 0 and melts(row[0].kit))


def _by_cost(asked: Asked) -> list[Candidate]:
    return sorted(asked.candidates, key=lambda candidate: candidate.cost)


def _cell(asked: Asked, kits: list[list[Tally]]) -> Cell:
    options = [
        _option(candidate, row)
        for candidate, row in zip(_by_cost(asked), kits, strict=True)
        if all(tally.was_tried for tally in row)
    ]
    first = kits[0][0].way
    return Cell(
        asked.number,
        asked.journey.post_on,
        tuple(options),
        first.lacking,
        first.shape,
        asked.readings[0][1].hours.zone,
    )


def _option(candidate: Candidate, row: Sequence[Tally]) -> Option:
    """Return what came of a kit in the worst reading."""
    worst = max(row, key=lambda one: one.harm)
    return Option(
        candidate,
        worst.decided,
        worst.comfort,
        worst.hard,
        worst.stopped_early,
        worst.side,
        worst.case_of_trouble,
        worst.hour_of_trouble,
        worst.strain,
        worst.is_barred,
    )
