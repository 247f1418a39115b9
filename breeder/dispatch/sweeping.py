"""Kits swept over many ways at once, and the tally of what failed, delay case by delay case. Pure; no database."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from breeder.dispatch.air import Shape, Single
from breeder.dispatch.trying import START_C, Animals
from breeder.heat.kit import Kit as HeatKit
from breeder.heat.members import Draws
from breeder.heat.risk import leak_of
from breeder.heat.sweep import Swept, sweep
from breeder.heat.verdict import GO, NO_GO, NOT_DECIDED, ROUNDING, Odds, decide

Array = NDArray[np.float64]

HARM = {GO: 0, NOT_DECIDED: 1, NO_GO: 2}
LEAST_ROWS = 2  # the weather of one hour


@dataclass(frozen=True, eq=False)
class Way:
    """What surrounds a box on one way, case by case: (members, hours + 1), and how many hours of each are known."""

    shape: Shape
    around: Sequence[Single]
    known: Sequence[int]
    drawn: Draws

    def narrowed(self, members: int) -> "Way":
        """Return the first members of the same way."""
        return Way(self.shape, [rows[:members] for rows in self.around], self.known, self.drawn.first(members))


@dataclass(eq=False)
class Tally:
    """What came of one kit on one way so far, by weight of the delay cases."""

    way: Way
    kit: HeatKit
    animals: Animals
    cases_done: int = 0
    failed: dict[str, float] = field(default_factory=lambda: {"comfort": 0.0, "hard": 0.0})
    unknown: dict[str, float] = field(default_factory=lambda: {"comfort": 0.0, "hard": 0.0})
    cold: float = 0.0
    warm: float = 0.0
    trouble: tuple[float, int, float] = (-1.0, 0, 0.0)

    @property
    def was_tried(self) -> bool:
        """Return whether any case was run."""
        return self.cases_done > 0

    @property
    def is_settled(self) -> bool:
        """Return whether no further case can change the verdict."""
        return self.cases_done == len(self.way.shape.cases) or self._exceeds

    @property
    def _exceeds(self) -> bool:
        most = self.animals.tolerance
        return self.failed["comfort"] > most.comfort + ROUNDING or self.failed["hard"] > most.hard + ROUNDING

    @property
    def stopped_early(self) -> bool:
        """Return whether cases were left out, so that the odds are only a lower bound."""
        return self.cases_done < len(self.way.shape.cases)

    @property
    def comfort(self) -> Odds:
        """Return the odds of leaving comfort."""
        return self._odds("comfort")

    @property
    def hard(self) -> Odds:
        """Return the odds of passing a hard limit."""
        return self._odds("hard")

    def _odds(self, name: str) -> Odds:
        # The standard error is not shown on the board; it follows from the share and the members.
        share, number = min(1.0, self.failed[name]), self.way.drawn.members
        error = float(np.sqrt(max(0.0, share * (1.0 - share)) / number))
        return Odds(self.failed[name], self.failed[name] + self.unknown[name], error)

    @property
    def decided(self) -> str:
        """Return the verdict so far; what was not run is not decided."""
        return decide(self.comfort, self.hard, self.animals.tolerance) if self.was_tried else NOT_DECIDED

    @property
    def harm(self) -> tuple[int, float, float]:
        """Return how bad it is, least first."""
        return HARM[self.decided], self.hard.failed_or_unknown, self.comfort.failed_or_unknown

    @property
    def side(self) -> str:
        """Return 'warm' or 'cold', whichever fails more."""
        return "warm" if self.warm > self.cold else "cold"

    @property
    def case_of_trouble(self) -> int:
        """Return the delay case in which most weight fails."""
        return self.trouble[1]

    @property
    def hour_of_trouble(self) -> float:
        """Return the median hour at which failing members are at their worst; of all members where none fails."""
        return self.trouble[2]

    def first_look(self, members: int) -> "Tally":
        """Return an empty tally of the same kit over the first members."""
        return Tally(self.way.narrowed(members), self.kit, self.animals)

    def add(self, swept: Swept | None, rows: slice) -> None:
        """Count in the next delay case; `swept` None: not even its first hour is known."""
        case = self.cases_done
        weight, complete = self.way.shape.cases[case].weight, self._is_complete(case)
        self.cases_done += 1
        if swept is None:
            self.unknown = {name: value + weight for name, value in self.unknown.items()}
            return
        limits = self.animals.limits
        below, above = swept.hours_below[rows], swept.hours_above[rows]
        too_cold, too_warm = swept.coldest_c[rows] < limits.hard_low_c, swept.warmest_c[rows] > limits.hard_high_c
        broken = {"comfort": below + above > limits.hours_allowed, "hard": too_cold | too_warm}
        for name, flags in broken.items():
            share = float(np.mean(flags))
            self.failed[name] += weight * share
            self.unknown[name] += 0.0 if complete else weight * (1.0 - share)
        cold = too_cold | broken["comfort"] & (below > 0.0)
        warm = too_warm | broken["comfort"] & (above > 0.0)
        self.cold += weight * float(np.mean(cold))
        self.warm += weight * float(np.mean(warm))
        self._note_trouble(case, weight, cold, warm, swept, rows)

    def _note_trouble(self, case: int, weight: float, cold: Any, warm: Any, swept: Swept, rows: slice) -> None:
        is_warm = warm.sum() > cold.sum()
        flags, hours = (warm, swept.warmest_hour[rows]) if is_warm else (cold, swept.coldest_hour[rows])
        share = weight * float(np.mean(flags))
        if share > self.trouble[0]:
            self.trouble = (share, case, float(np.median(hours[flags] if flags.any() else hours)))

    def _is_complete(self, case: int) -> bool:
        return self.way.known[case] == self.way.around[case].shape[1]


def melts(kit: HeatKit) -> bool:
    """Return whether a kit holds packs that melt, which are far slower to reckon."""
    return bool(kit.phase_change_packs)


def sweep_all(tallies: Iterable[Tally]) -> None:
    """Run every tally to the end, case by case, each kit over all ways of the same hours and films together."""
    waiting = list(tallies)
    while waiting:
        sweep_once(waiting)
        waiting = [tally for tally in waiting if not tally.is_settled]


def sweep_once(tallies: Iterable[Tally]) -> None:
    """Run the next delay case of every tally."""
    groups: dict[Any, list[Tally]] = {}
    for tally in tallies:
        case, limits = tally.cases_done, tally.animals.limits
        rows = tally.way.known[case]
        films = tally.way.shape.films[case][: rows - 1] if rows >= LEAST_ROWS else ()
        groups.setdefault((tally.kit, limits.low_c, limits.high_c, films), []).append(tally)
    for (kit, low_c, high_c, films), group in groups.items():
        _sweep_group(kit, low_c, high_c, films, group)


def _sweep_group(kit: HeatKit, low_c: float, high_c: float, films: tuple[str, ...], group: list[Tally]) -> None:
    if not films:
        for tally in group:
            tally.add(None, slice(0))
        return
    # Boxes that go the same way in the same kit feel the same: each way is run once.
    ways = {(id(tally.way), tally.cases_done): tally for tally in group}
    begin, places = 0, {}
    for key, tally in ways.items():
        places[key] = slice(begin, begin + tally.way.drawn.members)
        begin += tally.way.drawn.members
    drawn = [tally.way.drawn for tally in ways.values()]
    swept = sweep(
        kit,
        np.concatenate([tally.way.around[tally.cases_done][:, : len(films) + 1] for tally in ways.values()]),
        low_c=low_c,
        high_c=high_c,
        start_c=START_C + np.concatenate([one.start_offset_k() for one in drawn]),
        leak=np.concatenate([leak_of(kit, one) for one in drawn]),
        pack_energy=np.concatenate([one.pack_energy() for one in drawn]),
        film_by_hour=films,
    )
    for tally in group:
        tally.add(swept, places[(id(tally.way), tally.cases_done)])
