"""What a line can spare, as other rooms read it: frozen, with the working in words."""

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class TubStock:
    """One tub and stage: the number that is safe to rely on, and what of it may be taken."""

    culture_id: int
    number: int
    purpose: str
    lower: int
    likely: int
    moved: int
    free: int
    counted_on: date | None
    is_stale: bool
    males: int | None
    females: int | None
    gives: bool = True
    is_outgrown: bool = False  # all young that were counted have died or grown up since
    # What the tub could give if the line had enough: `free` is at most that, and at most what the line has free.
    free_alone: int = 0


@dataclass(frozen=True)
class StageStock:
    """One stage of a line: what is safely there, what stays, what is promised, what is free."""

    stage: str
    lower: int
    likely: int
    kept_back: int
    promised: int
    free: int
    short: int
    counted_on: date | None
    method: str
    is_stale: bool
    tubs: tuple[TubStock, ...]
    why: tuple[str, ...]
    males: int | None = None
    females: int | None = None
    promised_males: int = 0
    promised_females: int = 0
    each_sex_kept: int = 0
    reproduction: str = "two_sexes"
    shown_by: str = "both"
    share_female: float = 0.5
    size_kept: float = 0.0
    next_cup_on: date | None = None
    # What is above the number kept back, handling loss taken off, and how many may go before the next count (None where
    # nothing limits that); promises are taken off neither.
    spare: int = 0
    may_go: int | None = None
    soon_grown: str = ""  # why young that grow up within a month are hardly ever to be had

    @property
    def waits_for_count(self) -> bool:
        """Return whether more could be spared if the line were counted again."""
        return self.may_go is not None and self.may_go < self.spare and self.free == max(0, self.may_go - self.promised)

    @property
    def stays(self) -> int:
        """Return the part of the bar that stays: the number kept back, as far as it is safely there."""
        return min(self.kept_back, self.lower)

    @property
    def later(self) -> int:
        """Return how many are safely there, neither kept back nor promised, but not to be sold before a count."""
        return max(0, self.lower - self.stays - self.promised - self.free)

    @property
    def doubt(self) -> int:
        """Return how many more are likely there beyond the safe number; never sold."""
        return max(0, self.likely - self.lower)

    def tub(self, culture_id: int) -> TubStock | None:
        """Return this stage of one tub, or None if the tub is not of this line or gives nothing."""
        return next((tub for tub in self.tubs if tub.culture_id == culture_id), None)


@dataclass(frozen=True)
class LineStock:
    """What one line can spare, by stage."""

    line_id: int
    sold_by: str
    stages: dict[str, StageStock]
    sellable: bool
    why_not: str
    name: str = ""
    resting_until: date | None = None
    irreplaceable: bool = False
    frozen_because: str = ""

    def free(self, stage: str) -> int:
        """Return how many of a stage may be promised now; 0 for a stage that is not kept."""
        return self.stages[stage].free if stage in self.stages else 0
