"""What is asked of the book of rules, and what it holds and answers, as plain facts."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from functools import cached_property

from breeder.house import regions


class Effect(StrEnum):
    """What a rule says of moving an animal, from the strictest to the mildest."""

    FORBIDDEN = "forbidden"
    PERMIT = "permit"
    CONDITIONS = "conditions"
    ALLOWED = "allowed"


class Takes(StrEnum):
    """What a carrier says of carrying an animal."""

    YES = "takes"
    AGREEMENT = "agreement"
    NO = "refuses"


class Direction(StrEnum):
    """Which way a permit counts."""

    SEND = "send"
    RECEIVE = "receive"
    BOTH = "both"


@dataclass(frozen=True)
class Animal:
    """A species with every name that covers it, the nearest first."""

    name: str
    lineage: tuple[str, ...]
    determined: bool = True

    @cached_property
    def places(self) -> dict[str, int]:
        """Return how far up each name stands; an empty name stands above all."""
        found = {name.lower(): place for place, name in reversed(list(enumerate(self.lineage)))}
        return found | {"": len(self.lineage)}

    def place_of(self, taxon: str) -> int | None:
        """Return how far up a taxon covers this animal: 0 its own name; None where it does not."""
        return self.places.get(taxon.lower())


@dataclass(frozen=True)
class Way:
    """From where to where (ISO 3166; an empty text where it is not known), on which day, and to whom."""

    origin: str
    destination: str
    on: date
    person_id: int | None = None

    @property
    def stays_in_state(self) -> bool:
        """Return whether it is known to stay within one state."""
        return self.origin == self.destination and regions.is_state(self.origin)


@dataclass(frozen=True)
class Rule:
    """What the book says of a taxon between two regions."""

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
    def said_where(self) -> str:
        """Return 'HRS 150A-6.2, looked up on 3 March 2026'."""
        looked = f", looked up on {day(self.checked_on)}" if self.verified and self.checked_on else ""
        return f"{self.citation}{looked}"

    def is_stale(self, on: date) -> bool:
        """Return whether it was to be looked up again before this day."""
        return self.recheck_on is not None and self.recheck_on < on


@dataclass(frozen=True)
class HeldPermit:
    """A permit with its scope; no person: the keeper's own. Empty regions are anywhere."""

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


class Standing(StrEnum):
    """What the book says of one animal on one way."""

    BLOCKED = "blocked"
    OPEN = "open"
    CLEAR = "clear"


@dataclass(frozen=True)
class Answer:
    """What the book says: why it may not go, what the keeper has to decide, what to mind, under which permit."""

    blocks: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    permits: tuple[HeldPermit, ...] = ()

    @property
    def standing(self) -> Standing:
        """Return the worst that is said."""
        return Standing.BLOCKED if self.blocks else Standing.OPEN if self.questions else Standing.CLEAR

    def __add__(self, other: "Answer") -> "Answer":
        """Return both answers as one, each sentence and permit once."""
        if self == NOTHING or other == NOTHING:
            return other if self == NOTHING else self
        pairs = ((getattr(self, name), getattr(other, name)) for name in ("blocks", "questions", "notes", "permits"))
        return Answer(*(tuple(dict.fromkeys((*one, *more))) for one, more in pairs))


NOTHING = Answer()


def day(on: date | None) -> str:
    """Return '3 March 2026'."""
    return f"{on:%-d %B %Y}" if on else "a day that is not written down"
