"""Simulate kits over many journeys at once and tally the failures, delay case by delay case."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from breeder.core.thermal.batch import SweepResult, sweep
from breeder.core.thermal.ensemble_draws import Draws
from breeder.core.thermal.evaluate_kit import LEAST_ROWS, AmbientCase, leak_factors
from breeder.core.thermal.kit import ThermalKit
from breeder.core.thermal.kit_risk import failures
from breeder.core.thermal.verdict import EASY, GO, HARM, NO_GO, NOT_DECIDED, ROUNDING, Limits, Odds, decide, strain
from breeder.core.transit.ambient_ensemble import JourneyShape, Single
from breeder.core.transit.trial_result import START_C, AnimalNeeds

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class JourneyConditions:
    """The conditions around a box on one journey, case by case."""

    shape: JourneyShape
    around: tuple[AmbientCase, ...]
    drawn: Draws
    is_harsh: bool = False  # too cold or too warm for a kit without a pack
    touching: dict[Any, Flags] = field(default_factory=dict)
    narrower: dict[int, "JourneyConditions"] = field(default_factory=dict)

    def narrowed(self, members: int) -> "JourneyConditions":
        """Return the first members of the same journey."""
        if members not in self.narrower:
            around = tuple(replace(case, ambient_c=case.ambient_c[:members]) for case in self.around)
            self.narrower[members] = JourneyConditions(self.shape, around, self.drawn.first(members), self.is_harsh)
        return self.narrower[members]

    def may_leave(self, case: int, limits: Limits) -> Flags:
        """Return which members can leave comfort without a pack: the inside stays between weather and start."""
        key = case, limits.low_c, limits.high_c
        if key not in self.touching:
            around, start = self.around[case], START_C + self.drawn.start_offset_k()
            rows = around.ambient_c[:, : around.known]
            coldest, warmest = (np.minimum(rows.min(axis=1), start), np.maximum(rows.max(axis=1), start))
            self.touching[key] = (coldest < limits.low_c) | (warmest > limits.high_c)
        return self.touching[key]

    @property
    def lacking(self) -> int:
        """Return how many hours of all cases are useless: those from the first missing one on."""
        return sum(case.hours - case.known for case in self.around)

    def bars(self, kit: ThermalKit, decided: str) -> bool:
        """Return whether harsh weather bars a kit without a pack that could go by its odds."""
        return self.is_harsh and not kit.packs and decided == GO

    def rules_out_go(self, animals: AnimalNeeds) -> bool:
        """Return whether so many hours are missing that no kit can get a Go."""
        unknown = sum(case.weight for case in self.around if case.missing)
        return unknown > min(animals.tolerance.comfort, animals.tolerance.hard) + ROUNDING


@dataclass(frozen=True)
class CaseShares:
    """The result of one delay case in one kit on several journeys: shares (ways,), flags and hours (ways, members)."""

    comfort: Array
    hard: Array
    cold: Array
    warm: Array
    is_cold: Flags
    is_warm: Flags
    coldest_hour: Array
    warmest_hour: Array

    def hour_of_trouble(self, way: int) -> float:
        """Return the median hour at which the failing members of a journey are at their worst."""
        is_warm = self.warm[way] > self.cold[way]
        flags, hours = (self.is_warm, self.warmest_hour) if is_warm else (self.is_cold, self.coldest_hour)
        failing = np.sort(hours[way][flags[way]])
        return float(failing[len(failing) // 2])


def case_shares(swept: SweepResult, limits: Limits, ways: int) -> CaseShares:
    """Return the result of each of several journeys with equally many members."""
    by_way = SweepResult(*(getattr(swept, each.name).reshape(ways, -1) for each in fields(SweepResult)))
    failed = failures(by_way, limits)
    return CaseShares(
        comfort=failed.comfort.mean(axis=1),
        hard=failed.hard.mean(axis=1),
        cold=failed.cold.mean(axis=1),
        warm=failed.warm.mean(axis=1),
        is_cold=failed.cold,
        is_warm=failed.warm,
        coldest_hour=by_way.coldest_hour,
        warmest_hour=by_way.warmest_hour,
    )


@dataclass(eq=False)
class Tally:
    """The result of one kit on one journey so far, weighted by delay case."""

    way: JourneyConditions
    kit: ThermalKit
    animals: AnimalNeeds
    decided: str = NOT_DECIDED  # so far; cases not run yet count as not decided
    is_barred: bool = False  # harsh weather and no pack: a No-go whatever the odds
    strain: float = 0.0  # share of the tolerance that is used up
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
        """Return whether cases were left out, so that the odds are only lower bounds."""
        return self.cases_done < len(self.way.around)

    @property
    def is_easy(self) -> bool:
        """Return whether it is a Go that uses up little of the tolerance."""
        return self.decided == GO and self.strain <= EASY + ROUNDING

    @property
    def harm(self) -> tuple[int, float, float]:
        """Return a sort key for how bad the result is, best first."""
        return HARM[self.decided], self.hard + self.hard_unknown, self.comfort + self.comfort_unknown

    @property
    def side(self) -> str:
        """Return 'warm' or 'cold', whichever fails more."""
        return "warm" if self.warm > self.cold else "cold"

    def first_look(self, members: int) -> "Tally":
        """Return an empty tally of the same kit over the first members."""
        return Tally(self.way.narrowed(members), self.kit, self.animals)

    def add(self, felt: CaseShares, way: int) -> None:
        """Add the result of the next delay case."""
        case = self.cases_done
        weight = self.way.around[case].weight
        self.cases_done += 1
        comfort, hard = float(felt.comfort[way]), float(felt.hard[way])
        self.comfort += weight * comfort
        self.hard += weight * hard
        if self.way.around[case].missing:
            self.comfort_unknown += weight * (1.0 - comfort)
            self.hard_unknown += weight * (1.0 - hard)
        cold, warm = float(felt.cold[way]), float(felt.warm[way])
        self.cold += weight * cold
        self.warm += weight * warm
        share = weight * max(cold, warm)
        if share > self.worst_share:
            self.worst_share, self.case_of_trouble = share, case
            self.hour_of_trouble = felt.hour_of_trouble(way)
        self._judge()

    def add_unknown(self) -> None:
        """Add the next delay case when not even its first hour is known."""
        weight = self.way.around[self.cases_done].weight
        self.cases_done += 1
        self.comfort_unknown += weight
        self.hard_unknown += weight
        self._judge()

    def _judge(self) -> None:
        """Decide on the cases so far; no verdict depends on the standard error of the odds."""
        comfort = Odds(self.comfort, self.comfort + self.comfort_unknown, 0.0)
        hard = Odds(self.hard, self.hard + self.hard_unknown, 0.0)
        self.decided = decide(comfort, hard, self.animals.tolerance)
        self.is_barred = self.way.bars(self.kit, self.decided)
        if self.is_barred:
            self.decided = NO_GO
        self.strain = strain(comfort, hard, self.animals.tolerance)


def has_melting_packs(kit: ThermalKit) -> bool:
    """Return whether a kit has melting packs, which are far slower to simulate."""
    return bool(kit.phase_change_packs)


def sweep_all(tallies: Iterable[Tally]) -> None:
    """Run every tally to its end, case by case; each kit runs over all journeys with the same films together."""
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


def _sweep_group(kit: ThermalKit, limits: Limits, films: tuple[str, ...], group: list[Tally]) -> None:
    # Boxes on the same journey in the same kit have the same result, so each journey is run once.
    places: dict[tuple[int, int], int] = {}
    ways: list[tuple[JourneyConditions, int]] = []
    for tally in group:
        key = (id(tally.way), tally.cases_done)
        if key not in places:
            places[key] = len(ways)
            ways.append((tally.way, tally.cases_done))
    drawn = _member_factors(kit, [way.drawn for way, _ in ways])
    rows = [way.around[case].ambient_c[:, : len(films) + 1] for way, case in ways]
    who = _members_to_run(kit, limits, ways)
    weather = np.empty((np.count_nonzero(who), len(films) + 1), np.float32)
    done = 0
    for around, run_here in zip(rows, np.split(who, len(ways)), strict=True):
        count = int(np.count_nonzero(run_here))
        np.compress(run_here, around, axis=0, out=weather[done : done + count])
        done += count
    results = case_shares(_swept(kit, weather, who, limits, films, *drawn), limits, len(ways))
    for tally in group:
        tally.add(results, places[(id(tally.way), tally.cases_done)])


def _members_to_run(kit: ThermalKit, limits: Limits, ways: Sequence[tuple[JourneyConditions, int]]) -> Flags:
    """Return which members of all journeys can leave comfort; with a pack in the box any can."""
    if kit.packs:
        return np.ones(sum(way.drawn.members for way, _ in ways), bool)
    return np.concatenate([way.may_leave(case, limits) for way, case in ways])


def _swept(
    kit: ThermalKit,
    weather: Single,
    who: Flags,
    limits: Limits,
    films: tuple[str, ...],
    start_c: Array,
    leak: Array,
    energy: Array,
) -> SweepResult:
    """Return the result of all members; only `who` are run, and the others count as staying in comfort."""
    whole = SweepResult.empty(len(who))
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
    for each in fields(SweepResult):
        getattr(whole, each.name)[who] = getattr(run, each.name)
    return whole


def _member_factors(kit: ThermalKit, drawn: Sequence[Draws]) -> list[Array]:
    """Return start, leak and pack energy of all members in a kit; journeys of one day and service share draws."""
    factors = {
        id(draws): (START_C + draws.start_offset_k(), leak_factors(kit, draws), draws.pack_energy())
        for draws in {id(draws): draws for draws in drawn}.values()
    }
    return [np.concatenate(rows) for rows in zip(*(factors[id(draws)] for draws in drawn), strict=True)]
