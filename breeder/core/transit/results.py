"""Define the question about one box on one day, and the result for each of its kits."""

from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from breeder.core.thermal.verdict import EASY, GO, NOT_DECIDED, ROUNDING, kit_preference, with_pack
from breeder.core.transit.ambient_ensemble import JourneyShape
from breeder.core.transit.place_air import PlaceAir
from breeder.core.transit.trial_result import AnimalNeeds, Candidate, Journey


@dataclass(frozen=True, eq=False)
class BoxQuestion:
    """One box on one day: its journey, every reading of the air at both ends, the kits, the needs of the animals."""

    number: int
    journey: Journey
    readings: tuple[tuple[PlaceAir, PlaceAir], ...]
    candidates: tuple[Candidate, ...]
    animals: AnimalNeeds
    seed: int
    is_thorough: bool = False  # kits are tried until one goes easily, as in a check, not until two may go
    weather_known: bool = False  # the hours were measured, so members differ only in box, packs, van and doorstep


@dataclass(frozen=True)
class Option:
    """The result for one kit on one day; `at_least`: cases that could not change the verdict were left out."""

    candidate: Candidate
    decided: str
    comfort: float
    hard: float
    at_least: bool
    side: str
    case: int
    hour: float
    strain: float
    is_barred: bool = False  # harsh weather, and no pack in the kit

    @property
    def is_easy(self) -> bool:
        """Return whether it is a Go that uses up little of the tolerance."""
        return self.decided == GO and self.strain <= EASY + ROUNDING

    @property
    def verdict(self) -> str:
        """Return the verdict to show."""
        return with_pack(self.decided, has_pack=self.candidate.has_pack)


@dataclass(frozen=True)
class Cell:
    """The results for one box on one day: its kits in order of cost, and how many needed hours are missing."""

    number: int
    on: date
    options: tuple[Option, ...]
    missing_hours: int
    shape: JourneyShape
    destination_zone: ZoneInfo

    @property
    def going(self) -> tuple[Option, ...]:
        """Return the kits that may go: the easy ones by cost, then the others by strain, least first."""
        able = [option for option in self.options if option.decided == GO]
        return tuple(sorted(able, key=lambda option: kit_preference(option.strain, option.candidate.cost)))

    @property
    def shown(self) -> Option:
        """Return the first kit that may go, else the cheapest undecided one, else the one that fails least."""
        if self.going:
            return self.going[0]
        undecided = [option for option in self.options if option.decided == NOT_DECIDED]
        if undecided:
            return min(undecided, key=lambda option: option.candidate.cost)
        return min(self.options, key=lambda option: (option.hard + option.comfort, option.candidate.cost))

    def of_kit(self, kit_id: int | None) -> Option | None:
        """Return the result for one kit, or None."""
        return next((option for option in self.options if option.candidate.kit_id == kit_id), None)
