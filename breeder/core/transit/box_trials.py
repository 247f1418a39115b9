"""Try boxes in their kits, for the board (many boxes on many days, few members) and for a check (one box, all members).

Boxes on the same journey share the air around them. The board tries kits over all journeys at once, in order of cost,
until one goes easily and two may go; a thorough question only until one goes easily. Delay cases that cannot change a
No-go are left out. A check leaves out nothing: it tries every kit on every delay case and keeps every result.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from typing import Any

from breeder.core.thermal.ensemble_draws import Draws, draws
from breeder.core.thermal.evaluate_kit import try_kit
from breeder.core.thermal.verdict import GO, HARM, NO_GO, NOT_DECIDED
from breeder.core.transit import ambient_ensemble, rule_of_thumb
from breeder.core.transit.ambient_ensemble import MemberAir
from breeder.core.transit.place_air import PlaceAir
from breeder.core.transit.result_cache import ResultCache, cache_keys
from breeder.core.transit.results import BoxQuestion, Cell, Option
from breeder.core.transit.tally import JourneyConditions, Tally, has_melting_packs, sweep_all, sweep_once
from breeder.core.transit.trial_result import START_C, Candidate, KitTrial, Trial

SCREENED = 48  # members for a day on the board: odds of 1 in 20 then have a standard error of 0.03
# MemberAir simulated together; with three delay cases they take about 90 MB. A process uses one thread: the array
# operations are many and short, so two threads would wait for each other longer than they gain.
MEMBERS_AT_ONCE = 24_000
# A kit with melting packs is given up when half of the first few members fail in the first case.
FIRST_LOOK, HOPELESS = 16, 0.5
# Kits are tried by cost until one goes easily, as in a check, and two may go. The second is for when the shelf runs out
# of the first, and is only screened. Kits with melting packs are slow: none is tried as the second, and they too are
# only screened if another kit may go.
ENOUGH = 2

Blocks = Sequence[Sequence[BoxQuestion]]
Work = Callable[[Sequence[BoxQuestion]], list[Cell]]
By = Callable[[Work, Blocks], Iterable[tuple[int, list[Cell]]]]


def one_by_one(work: Work, blocks: Blocks) -> Iterable[tuple[int, list[Cell]]]:
    """Yield the place and the cells of each block, all computed in this process."""
    for place, block in enumerate(blocks):
        yield place, work(block)


def try_boxes(
    asked: Sequence[BoxQuestion],
    *,
    members: int = SCREENED,
    memo: ResultCache | None = None,
    on_progress: Callable[[int, int], None] | None = None,
    by: By = one_by_one,
) -> list[Cell]:
    """Return the cell of each question, in order; `on_progress(done, total)` is called after each block.

    `by` says who works on the blocks: this process alone, or a second one too (`base.worker.share_work`).
    """
    keys = cache_keys(asked, members) if memo else []
    cells: list[Cell | None] = memo.known(asked, keys) if memo else [None] * len(asked)
    rest = sorted((place for place, cell in enumerate(cells) if cell is None), key=lambda place: _way(asked[place]))
    size = max(1, MEMBERS_AT_ONCE // members)
    blocks = [rest[first : first + size] for first in range(0, len(rest), size)]
    done = len(asked) - len(rest)
    work = partial(try_block, members=members)
    for number, block_results in by(work, [[asked[place] for place in block] for block in blocks]):
        for place, cell in zip(blocks[number], block_results, strict=True):
            cells[place] = cell
            if memo:
                memo.keep(keys[place], cell)
        done += len(block_results)
        if on_progress:
            on_progress(done, len(asked))
    return [cell for cell in cells if cell is not None]


def _way(asked: BoxQuestion) -> tuple[Any, ...]:
    """Return a sort key that puts boxes with the same journey next to each other."""
    origin, destination = asked.readings[0]
    return asked.journey.post_on, asked.seed, asked.journey.to_counter, id(origin), id(destination)


@lru_cache(maxsize=64)
def shared_draws(seed: int, members: int) -> Draws:
    """Return the first members of the draws of a seed; boxes with one service and day share them."""
    return draws(seed, members)


def try_block(asked: Sequence[BoxQuestion], members: int) -> list[Cell]:
    """Return the cells of one block of questions, simulated together."""
    ways = _Ways(members)
    tallies: list[list[list[Tally]]] = []
    for question in asked:
        conditions = [ways.conditions(question, reading) for reading in question.readings]
        tallies.append(
            [[Tally(way, candidate.kit, question.animals) for way in conditions] for candidate in _by_cost(question)]
        )
    progress = [_Progress() for _ in asked]
    for turn in range(max(len(question.candidates) for question in asked)):
        open_yet = [each for each in zip(asked, tallies, progress, strict=True) if turn < len(each[1])]
        rows = []
        for question, kits, so_far in open_yet:
            if so_far.is_worth_trying(question, kits[turn]):
                if so_far.needs_few(question, kits[turn]):
                    kits[turn] = [tally.first_look(SCREENED) for tally in kits[turn]]
                rows.append(kits[turn])
        _give_up_hopeless(row for row in rows if has_melting_packs(row[0].kit))
        sweep_all(tally for row in rows for tally in row if not tally.was_tried)
        for _, kits, so_far in open_yet:
            so_far.add(kits[turn])
    return [_cell(question, kits) for question, kits in zip(asked, tallies, strict=True)]


def try_readings(asked: BoxQuestion, members: int) -> list[Trial]:
    """Return one trial of all kits for each reading of both ends, over all delay cases and members."""
    ways = _Ways(members)
    return [_trial(asked, ways.conditions(asked, reading)) for reading in asked.readings]


def _trial(asked: BoxQuestion, way: JourneyConditions) -> Trial:
    limits, tolerance = asked.animals.limits, asked.animals.tolerance
    tried = []
    for candidate in asked.candidates:
        risk = try_kit(candidate.kit, way.around, limits, tolerance, start_c=START_C, draws=way.drawn)
        is_barred = way.bars(candidate.kit, risk.verdict)
        tried.append(KitTrial(candidate, replace(risk, verdict=NO_GO) if is_barred else risk, is_barred))
    return Trial(way.shape.cases, way.around, tuple(tried), tolerance, way.drawn)


class _Ways:
    """The conditions around the boxes of one block; boxes on the same journey share them."""

    def __init__(self, members: int) -> None:
        self.members = members
        self.made: dict[Any, JourneyConditions] = {}
        self.drawn: dict[tuple[int, bool], MemberAir] = {}

    def conditions(self, asked: BoxQuestion, reading: tuple[PlaceAir, PlaceAir]) -> JourneyConditions:
        """Return the conditions around a box for one reading of the air at both ends."""
        origin, destination = reading
        key = (asked.journey, origin, destination, asked.seed, asked.weather_known)
        if key not in self.made:
            shape, around = (
                ambient_ensemble.journey_shape(asked.journey, origin.hours, destination.hours),
                self._around(asked),
            )
            ends = ambient_ensemble.air_at_ends(shape, origin, destination)
            is_harsh = not asked.journey.to_counter and rule_of_thumb.is_harsh(*ends)
            self.made[key] = JourneyConditions(
                shape, around.ambient_cases(shape, origin, destination), around.drawn, is_harsh
            )
        return self.made[key]

    def _around(self, asked: BoxQuestion) -> MemberAir:
        key = (asked.seed, asked.weather_known)
        if key not in self.drawn:
            drawn = shared_draws(asked.seed, self.members)
            self.drawn[key] = MemberAir(drawn.without_weather_error() if asked.weather_known else drawn)
        return self.drawn[key]


def _give_up_hopeless(melting: Iterable[list[Tally]]) -> None:
    """Run a few members of the first case; if half of them fail, the answer is No-go."""
    looks = [(row, place, tally.first_look(FIRST_LOOK)) for row in melting for place, tally in enumerate(row)]
    sweep_once(look for _, _, look in looks)
    for row, place, look in looks:
        if max(look.comfort, look.hard) >= HOPELESS * look.way.around[0].weight and look.decided == NO_GO:
            row[place] = look


@dataclass
class _Progress:
    """How the kits of a question have done so far."""

    has_easy: bool = False
    going: int = 0
    is_undecided: bool = False

    def add(self, row: Sequence[Tally]) -> None:
        """Add the tallies of a kit, one for each reading; the worst reading counts."""
        decided = max((tally.decided for tally in row), key=HARM.__getitem__)
        self.has_easy |= all(tally.is_easy for tally in row)
        self.going += decided == GO
        self.is_undecided |= decided == NOT_DECIDED

    def is_worth_trying(self, asked: BoxQuestion, row: Sequence[Tally]) -> bool:
        """Return whether the next kit could still be wanted."""
        # If missing hours rule out every Go, the result of the cheapest kit that has not failed is enough.
        is_open = self.is_undecided and any(tally.way.rules_out_go(asked.animals) for tally in row)
        # Stopping before one goes easily would choose a different kit from the one a check chooses.
        has_enough = self.has_easy and (asked.is_thorough or has_melting_packs(row[0].kit) or self.going >= ENOUGH)
        return not has_enough and not is_open

    def needs_few(self, asked: BoxQuestion, row: Sequence[Tally]) -> bool:
        """Return whether a box_trials of the next kit is enough."""
        return not asked.is_thorough and (self.has_easy or self.going > 0 and has_melting_packs(row[0].kit))


def _by_cost(asked: BoxQuestion) -> list[Candidate]:
    return sorted(asked.candidates, key=lambda candidate: candidate.cost)


def _cell(asked: BoxQuestion, kits: list[list[Tally]]) -> Cell:
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
    """Return the result of a kit for the worst reading."""
    worst = max(row, key=lambda tally: tally.harm)
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
