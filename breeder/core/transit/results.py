"""One box on one day: what is asked, and what came of each kit. Pure; no database."""

from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from breeder.core.thermal.verdict import EASY, GO, NOT_DECIDED, ROUNDING, preference, with_pack
from breeder.core.transit.ambient_ensemble import Shape
from breeder.core.transit.place_air import Air
from breeder.core.transit.trial_result import Animals, Candidate, Journey


@dataclass(frozen=True, eq=False)
class Asked:
    """One box on one day: its way by every reading of both ends' air, the kits to try, what its animals bear."""

    number: int
    journey: Journey
    readings: tuple[tuple[Air, Air], ...]
    candidates: tuple[Candidate, ...]
    animals: Animals
    seed: int
    is_thorough: bool = False  # kits are tried until one goes easily, as a check takes them, not until two may go
    weather_known: bool = False  # the hours are what really was, so members differ only in box, van and doorstep


@dataclass(frozen=True)
class Option:
    """What came of one kit on one day; `at_least`: cases that could not change the answer were left out."""

    candidate: Candidate
    decided: str
    comfort: float
    hard: float
    at_least: bool
    side: str
    case: int
    hour: float
    strain: float
    is_barred: bool = False  # by harsh weather, for want of a pack

    @property
    def is_easy(self) -> bool:
        """Return whether it may go with most of what is allowed to spare."""
        return self.decided == GO and self.strain <= EASY + ROUNDING

    @property
    def verdict(self) -> str:
        """Return the verdict's word on the page."""
        return with_pack(self.decided, has_pack=self.candidate.has_pack)


@dataclass(frozen=True)
class Cell:
    """One box on one day: its kits in order of cost, and how many of the hours it needs are missing."""

    number: int
    on: date
    options: tuple[Option, ...]
    missing_hours: int
    shape: Shape
    destination_zone: ZoneInfo

    @property
    def going(self) -> tuple[Option, ...]:
        """Return the kits that may go: the easy ones by cost, then the others by how little they strain."""
        able = [option for option in self.options if option.decided == GO]
        return tuple(sorted(able, key=lambda one: preference(one.strain, one.candidate.cost)))

    @property
    def shown(self) -> Option:
        """Return the kit that is taken first, else the cheapest that hours lack for, else the one that fails least."""
        if self.going:
            return self.going[0]
        open_yet = [one for one in self.options if one.decided == NOT_DECIDED]
        if open_yet:
            return min(open_yet, key=lambda one: one.candidate.cost)
        return min(self.options, key=lambda one: (one.hard + one.comfort, one.candidate.cost))

    def of_kit(self, kit_id: int | None) -> Option | None:
        """Return what came of one kit."""
        return next((one for one in self.options if one.candidate.kit_id == kit_id), None)
