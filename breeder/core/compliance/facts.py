"""Define the facts of the rulebook: animals, movements, rules and permits, and the answer it gives."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from functools import cached_property

from breeder.core.compliance import regions


class Effect(StrEnum):
    """What a rule says about moving an animal, from the strictest to the mildest."""

    FORBIDDEN = "forbidden"
    PERMIT = "permit"
    CONDITIONS = "conditions"
    ALLOWED = "allowed"


class Takes(StrEnum):
    """What a carrier says about carrying an animal."""

    YES = "takes"
    AGREEMENT = "agreement"
    NO = "refuses"


class Direction(StrEnum):
    """Which direction a permit covers."""

    SEND = "send"
    RECEIVE = "receive"
    BOTH = "both"


@dataclass(frozen=True)
class Animal:
    """A species with every taxon that contains it, the closest first."""

    name: str
    lineage: tuple[str, ...]
    determined: bool = True

    @cached_property
    def places(self) -> dict[str, int]:
        """Return how many ranks up each taxon is; the empty name is above all."""
        steps = {name.lower(): place for place, name in reversed(list(enumerate(self.lineage)))}
        return steps | {"": len(self.lineage)}

    def steps_to(self, taxon: str) -> int | None:
        """Return how many ranks up a taxon is: 0 for the animal's name; None if the taxon does not contain it."""
        return self.places.get(taxon.lower())


@dataclass(frozen=True)
class Movement:
    """Where an animal goes from and to (ISO 3166 codes, empty if unknown), on which day, and to whom."""

    origin: str
    destination: str
    on: date
    person_id: int | None = None

    @property
    def stays_in_state(self) -> bool:
        """Return whether both ends are known to be in the same state."""
        return self.origin == self.destination and regions.is_state(self.origin)


@dataclass(frozen=True)
class Rule:
    """What the rulebook says about moving a taxon between two regions."""

    taxon: str
    origin: str
    destination: str
    effect: str
    citation: str
    authority: str = ""
    permit_kind: str = ""
    conditions: str = ""
    across_only: bool = False
    verified: bool = True
    checked_on: date | None = None
    recheck_on: date | None = None
    pk: int | None = None

    @property
    def source_text(self) -> str:
        """Return 'HRS 150A-6.2, looked up on 3 March 2026'."""
        looked = f", looked up on {recorded_day_text(self.checked_on)}" if self.verified and self.checked_on else ""
        return f"{self.citation}{looked}"

    def is_stale(self, on: date) -> bool:
        """Return whether the rule was due to be looked up again before this day."""
        return self.recheck_on is not None and self.recheck_on < on


@dataclass(frozen=True)
class HeldPermit:
    """A permit with its scope; without a person it is the keeper's own. Empty regions mean anywhere."""

    number: str
    issuer: str
    kind: str
    taxa: tuple[str, ...]
    origins: tuple[str, ...]
    destinations: tuple[str, ...]
    direction: str
    valid_from: date
    valid_until: date
    person_id: int | None = None
    conditions: str = ""

    @property
    def called(self) -> str:
        """Return 'PPQ 526 P-12345 of USDA APHIS'."""
        return f"{self.kind} {self.number}".strip() + f" of {self.issuer}"


class Clearance(StrEnum):
    """The rulebook's conclusion about one animal on one movement."""

    BLOCKED = "blocked"
    OPEN = "open"
    CLEAR = "clear"


@dataclass(frozen=True)
class RulebookAnswer:
    """The rulebook's answer: why an animal may not go, what the keeper must decide, notes, and the permits used."""

    blocks: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    permits: tuple[HeldPermit, ...] = ()

    @property
    def standing(self) -> Clearance:
        """Return the worst conclusion of the answer."""
        return Clearance.BLOCKED if self.blocks else Clearance.OPEN if self.questions else Clearance.CLEAR

    def __add__(self, other: "RulebookAnswer") -> "RulebookAnswer":
        """Return both answers in one, with each sentence and permit only once."""
        if self == NOTHING or other == NOTHING:
            return other if self == NOTHING else self
        pairs = ((getattr(self, name), getattr(other, name)) for name in ("blocks", "questions", "notes", "permits"))
        return RulebookAnswer(*(tuple(dict.fromkeys((*mine, *theirs))) for mine, theirs in pairs))


NOTHING = RulebookAnswer()


def recorded_day_text(on: date | None) -> str:
    """Return '3 March 2026'."""
    return f"{on:%-d %B %Y}" if on else "a day that is not written down"
