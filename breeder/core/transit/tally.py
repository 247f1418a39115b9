"""Kits swept over many ways at once, and the tally of what failed, delay case by delay case. Pure; no database."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from breeder.core.thermal.batch import Swept, sweep
from breeder.core.thermal.ensemble_draws import Draws
from breeder.core.thermal.evaluate_kit import LEAST_ROWS, AmbientCase, leak_of
from breeder.core.thermal.kit import Kit as HeatKit
from breeder.core.thermal.kit_risk import failures
from breeder.core.thermal.verdict import EASY, GO, HARM, NO_GO, NOT_DECIDED, ROUNDING, Limits, Odds, decide, strain
from breeder.core.transit.ambient_ensemble import Shape, Single
from breeder.core.transit.trial_result import START_C, Animals

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Way:
    """What surrounds a box on one way, case by case."""

    shape: Shape
    around: tuple[AmbientCase, ...]
    drawn: Draws
    is_harsh: bool = False  # too cold or warm for a kit without a pack
    touching: dict[Any, Flags] = field(default_factory=dict)
    narrower: dict[int, "Way"] = field(default_factory=dict)

    def narrowed(self, members: int) -> "Way":
        """Return the first members of the same way."""
        if members not in self.narrower:
            around = tuple(replace(case, ambient_c=case.ambient_c[:members]) for case in self.around)
            self.narrower[members] = Way(self.shape, around, self.drawn.first(members), self.is_harsh)
        return self.narrower[members]

    def may_leave(self, case: int, limits: Limits) -> Flags:
        """Return which members can leave comfort without a pack: inside stays within the weather and the start."""
        key = case, limits.low_c, limits.high_c
        if key not in self.touching:
            around, start = self.around[case], START_C + self.drawn.start_offset_k()
            rows = around.ambient_c[:, : around.known]
            coldest, warmest = (np.minimum(rows.min(axis=1), start), np.maximum(rows.max(axis=1), start))
            self.touching[key] = (coldest < limits.low_c) | (warmest > limits.high_c)
        return self.touching[key]

    @property
    def lacking(self) -> int:
        """Return how many hours of all cases, from the first missing one on, are of no use."""
        return sum(case.hours - case.known for case in self.around)

    def bars(self, kit: HeatKit, decided: str) -> bool:
        """Return whether harsh weather keeps a kit here for want of a pack, though by its odds it may go."""
        return self.is_harsh and not kit.packs and decided == GO

    def rules_out_go(self, animals: Animals) -> bool:
        """Return whether so many hours are missing that no kit can go."""
        unknown = sum(case.weight for case in self.around if case.missing)
        return unknown > min(animals.tolerance.comfort, animals.tolerance.hard) + ROUNDING


@dataclass(frozen=True)
class Felt:
    """What one delay case comes to in one kit on several ways: shares (ways,), flags and hours (ways, members)."""

    comfort: Array
    hard: Array
    cold: Array
    warm: Array
    is_cold: Flags
    is_warm: Flags
    coldest_hour: Array
    warmest_hour: Array

    def hour_of_trouble(self, way: int) -> float:
        """Return the median hour at which the failing members of a way are at their worst."""
        is_warm = self.warm[way] > self.cold[way]
        flags, hours = (self.is_warm, self.warmest_hour) if is_warm else (self.is_cold, self.coldest_hour)
        failing = np.sort(hours[way][flags[way]])
        return float(failing[len(failing) // 2])


def felt(swept: Swept, limits: Limits, ways: int) -> Felt:
    """Return what each of several ways with equally many members comes to."""
    by_way = Swept(*(getattr(swept, one.name).reshape(ways, -1) for one in fields(Swept)))
    failed = failures(by_way, limits)
    shares = (flags.mean(axis=1) for flags in (failed.comfort, failed.hard, failed.cold, failed.warm))
    return Felt(*shares, failed.cold, failed.warm, by_way.coldest_hour, by_way.warmest_hour)


@dataclass(eq=False)
class Tally:
    """What came of one kit on one way so far, by weight of the delay cases."""

    way: Way
    kit: HeatKit
    animals: Animals
    decided: str = NOT_DECIDED  # so far; what was not run is not decided
    is_barred: bool = False  # by harsh weather: a no-go for want of a pack, whatever its odds
    strain: float = 0.0  # how much of what is allowed is used up
    cases_done: int = 0
    comfort: float = 0.0  # weight that left comfort for too long
    hard: float = 0.0  # weight that passed a hard limit
    comfort_unknown: float = 0.0
    hard_unknown: float = 0.0
    cold: float = 0.0
    warm: float = 0.0
    worst_share: float = 0.0
    case_of_trouble: int = 0  # the delay case in which most weight fails
    hour_of_trouble: float = 0.0  # the median hour at which its failing members are at their worst

    @property
    def was_tried(self) -> bool:
        """Return whether any case was run."""
        return self.cases_done > 0

    @property
    def is_settled(self) -> bool:
        """Return whether no further case can change the verdict."""
        most = self.animals.tolerance
        exceeds = self.comfort > most.comfort + ROUNDING or self.hard > most.hard + ROUNDING
        return exceeds or self.cases_done == len(self.way.around)

    @property
    def stopped_early(self) -> bool:
        """Return whether cases were left out, so that the odds are only a lower bound."""
        return self.cases_done < len(self.way.around)

    @property
    def is_easy(self) -> bool:
        """Return whether it may go with most of what is allowed to spare."""
        return self.decided == GO and self.strain <= EASY + ROUNDING

    @property
    def harm(self) -> tuple[int, float, float]:
        """Return how bad it is, least first."""
        return HARM[self.decided], self.hard + self.hard_unknown, self.comfort + self.comfort_unknown

    @property
    def side(self) -> str:
        """Return 'warm' or 'cold', whichever fails more."""
        return "warm" if self.warm > self.cold else "cold"

    def first_look(self, members: int) -> "Tally":
        """Return an empty tally of the same kit over the first members."""
        return Tally(self.way.narrowed(members), self.kit, self.animals)

    def add(self, found: Felt, way: int) -> None:
        """Count in the next delay case."""
        case = self.cases_done
        weight = self.way.around[case].weight
        self.cases_done += 1
        comfort, hard = float(found.comfort[way]), float(found.hard[way])
        self.comfort += weight * comfort
        self.hard += weight * hard
        if self.way.around[case].missing:
            self.comfort_unknown += weight * (1.0 - comfort)
            self.hard_unknown += weight * (1.0 - hard)
        cold, warm = float(found.cold[way]), float(found.warm[way])
        self.cold += weight * cold
        self.warm += weight * warm
        share = weight * max(cold, warm)
        if share > self.worst_share:
            self.worst_share, self.case_of_trouble = share, case
            self.hour_of_trouble = found.hour_of_trouble(way)
        self._judge()

    def add_unknown(self) -> None:
        """Count in the next delay case, of which not even the first hour is known."""
        weight = self.way.around[self.cases_done].weight
        self.cases_done += 1
        self.comfort_unknown += weight
        self.hard_unknown += weight
        self._judge()

    def _judge(self) -> None:
        """Decide on what has been counted in; no verdict rests on the odds' standard error."""
        comfort = Odds(self.comfort, self.comfort + self.comfort_unknown, 0.0)
        hard = Odds(self.hard, self.hard + self.hard_unknown, 0.0)
        self.decided = decide(comfort, hard, self.animals.tolerance)
        self.is_barred = self.way.bars(self.kit, self.decided)
        if self.is_barred:
            self.decided = NO_GO
        self.strain = strain(comfort, hard, self.animals.tolerance)


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
        case = tally.way.around[tally.cases_done]
        if case.known < LEAST_ROWS:
            tally.add_unknown()
            continue
        films = case.films
        key = (tally.kit, tally.animals.limits, films, tally.way.drawn.members)
        groups.setdefault(key, []).append(tally)
    for (kit, limits, films, _), group in groups.items():
        _sweep_group(kit, limits, films, group)


def _sweep_group(kit: HeatKit, limits: Limits, films: tuple[str, ...], group: list[Tally]) -> None:
    # Boxes that go the same way in the same kit feel the same: each way is run once.
    places: dict[tuple[int, int], int] = {}
    ways = []
    for tally in group:
        key = (id(tally.way), tally.cases_done)
        if key not in places:
            places[key] = len(ways)
            ways.append((tally.way, tally.cases_done))
    drawn = _spread_of(kit, [way.drawn for way, _ in ways])
    rows = [way.around[case].ambient_c[:, : len(films) + 1] for way, case in ways]
    who = _who_is_run(kit, limits, ways)
    weather = np.empty((np.count_nonzero(who), len(films) + 1), np.float32)
    done = 0
    for around, some in zip(rows, np.split(who, len(ways)), strict=True):
        many = np.count_nonzero(some)
        np.compress(some, around, axis=0, out=weather[done : done + many])
        done += many
    found = felt(_swept(kit, weather, who, limits, films, *drawn), limits, len(ways))
    for tally in group:
        tally.add(found, places[(id(tally.way), tally.cases_done)])


def _who_is_run(kit: HeatKit, limits: Limits, ways: Sequence[tuple[Way, int]]) -> Flags:
    """Return which members of all ways can leave comfort; with a pack in the box any can."""
    if kit.packs:
        return np.ones(sum(way.drawn.members for way, _ in ways), bool)
    return np.concatenate([way.may_leave(case, limits) for way, case in ways])


def _swept(
    kit: HeatKit,
    weather: Single,
    who: Flags,
    limits: Limits,
    films: tuple[str, ...],
    start_c: Array,
    leak: Array,
    energy: Array,
) -> Swept:
    """Return what all members feel, of whom only `who` are run; of the others only that they stay in comfort."""
    whole = Swept.empty(len(who))
    whole.coldest_c[:], whole.warmest_c[:] = limits.low_c, limits.high_c
    if not len(weather):
        return whole
    run = sweep(
        kit,
        weather,
        low_c=limits.low_c,
        high_c=limits.high_c,
        start_c=start_c[who],
        leak=leak[who],
        pack_energy=energy[who],
        film_by_hour=films,
    )
    for one in fields(Swept):
        getattr(whole, one.name)[who] = getattr(run, one.name)
    return whole


def _spread_of(kit: HeatKit, drawn: Sequence[Draws]) -> list[Array]:
    """Return start, leak and pack energy of all members in a kit; ways of one day and service share their draws."""
    made = {
        id(one): (START_C + one.start_offset_k(), leak_of(kit, one), one.pack_energy())
        for one in {id(one): one for one in drawn}.values()
    }
    return [np.concatenate(rows) for rows in zip(*(made[id(one)] for one in drawn), strict=True)]
