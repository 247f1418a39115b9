"""Lines sold by the cup: the free cups follow from the rest of each tub, not from a number of animals."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from breeder.core.counting.plurals import number_text

from .defaults import GIVES_SURPLUS
from .surplus import Free


@dataclass(frozen=True)
class CupTub:
    """One tub of a line sold by the cup: its cups when rested, its rest in days, and the day of the last cup."""

    tub: int
    purpose: str
    cups: int
    rest_days: int
    last_taken_on: date | None = None

    @property
    def rested_on(self) -> date | None:
        """The day from which it gives again; None when it never gave one."""
        return None if self.last_taken_on is None else self.last_taken_on + timedelta(days=self.rest_days)


def cups_ready(tub: CupTub, on: date) -> int:
    """Return the cups that a tub gives on a day: all once it is rested, none before or if its purpose forbids it."""
    if tub.purpose not in GIVES_SURPLUS:
        return 0
    return tub.cups if tub.rested_on is None or tub.rested_on <= on else 0


def free_cups(tubs: Iterable[CupTub], on: date, promised: int, kept_back: int = 0) -> Free:
    """Return the cups that may be promised on a day: rested − kept back − promised, at least 0."""
    given = list(tubs)
    ready = sum(cups_ready(tub, on) for tub in given)
    number = max(0, ready - kept_back - promised)
    short = max(0, promised - max(0, ready - kept_back))
    why = [f"{number_text(ready, 'cups')} rested, {kept_back} kept back, {promised} promised: {number} free."]
    later = next_cup_on(given, on)
    if later is not None:
        why.append(f"The next tub is rested on {later.day} {later:%B %Y}.")
    if short:
        why.append(f"Short by {short}: promised, but not rested yet. No new promise until then.")
    return Free(number, short, ready, kept_back, promised, tuple(why))


def next_cup_on(tubs: Iterable[CupTub], on: date) -> date | None:
    """Return the first day after `on` on which another tub is rested, or None."""
    days = [tub.rested_on for tub in tubs if tub.purpose in GIVES_SURPLUS and tub.rested_on is not None]
    return min((day for day in days if day > on), default=None)
