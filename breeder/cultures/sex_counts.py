"""How many males and females are known to be in a tub, from its last sexed count and what was moved since."""

from dataclasses import dataclass

from breeder.cultures.models import Entry


@dataclass(frozen=True)
class Known:
    """Males and females that are surely there; None where they were never counted, or nobody can say any more."""

    males: int | None = None
    females: int | None = None

    @property
    def is_known(self) -> bool:
        return self.males is not None and self.females is not None


def still_known(known: Known, lower: int) -> Known:
    """Return the sexes surely there when only `lower` animals are: each that may be gone may be of either sex."""
    if known.males is None or known.females is None:
        return known
    gone = max(0, known.males + known.females - lower)
    return Known(max(0, known.males - gone), max(0, known.females - gone))


def known_after(known: Known, entry: Entry) -> Known:
    """Return the sexes known after one more entry.

    A sexed count sets them. A count without sexes leaves them, but not above what it found one by one. A tub tipped
    over leaves nobody able to say.
    """
    if entry.kind == Entry.Kind.ABOUT:
        return known if (entry.number or 0) > 0 else Known()
    if entry.kind == Entry.Kind.CHANGE:
        return _after_change(known, entry)
    if entry.males is not None and entry.females is not None:
        return Known(entry.males, entry.females)
    if entry.log_sd == 0.0 and entry.estimate is not None:
        return _at_most(known, int(entry.estimate))
    return known


def _after_change(known: Known, entry: Entry) -> Known:
    """Unsexed animals that come in add none that is known; of those that go out each may have been of either sex."""
    number, males, females = entry.number or 0, entry.males or 0, entry.females or 0
    unsexed_out = max(0, -(number - males - females))
    if not known.is_known:
        return known
    return Known(
        max(0, (known.males or 0) + males - unsexed_out),
        max(0, (known.females or 0) + females - unsexed_out),
    )


def _at_most(known: Known, number: int) -> Known:
    if known.males is None or known.females is None:
        return known
    return Known(min(known.males, number), min(known.females, number))
