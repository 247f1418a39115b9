"""Compare two sources for the same hours: if they differ too much, a box is tried with both and the worse decides."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import product
from typing import Any

from breeder.core.thermal.verdict import HARM
from breeder.core.transit.place_air import Ends
from breeder.core.transit.trial_result import KitTrial, Trial
from breeder.core.transit.weather_hours import Hours

# Twice the spread of a forecast for tomorrow (about 2 °C): if two sources differ by more, one is plainly wrong (keeper
# default, common practice).
DISAGREE_C = 4.0

# Fields with a value for each hour; those with a usual value are empty when every hour has it.
USUAL_WHERE_EMPTY = {"sd_share": 1.0, "coarse": False, "spread": False, "anchored": False}
BY_HOUR = ("c", "issued", "extra_sd_c", "filled", *USUAL_WHERE_EMPTY)


@dataclass(frozen=True)
class SourceConflict:
    """Two sources that disagree about one place, most of all by `apart_c` (°C) at `at`."""

    label: str
    timezone: str
    sources: tuple[str, str]
    apart_c: float
    at: datetime


@dataclass(frozen=True)
class JourneyEnd:
    """One end of the journey: its freshest hours, the hours led by each source that disagrees, and how many sources."""

    freshest: Hours
    others: tuple[Hours, ...] = ()
    rivalries: tuple[SourceConflict, ...] = ()
    sources: int = 1
    by_source: tuple[Hours, ...] = ()

    def hours_with(self, name: str, wanted: set[datetime]) -> int:
        """Return for how many wanted hours some source sets the flag `name`, which is 'spread' or 'anchored'."""
        given: set[datetime] = set()
        for hours in self.by_source or (self.freshest,):
            given |= {at for at, flag in zip(hours.times, getattr(hours, name), strict=False) if flag}
        return len(given & wanted)

    @property
    def all(self) -> tuple[Hours, ...]:
        """Return every reading of the hours of this end, the freshest first."""
        return (self.freshest, *self.others)


@dataclass(frozen=True)
class Alternative:
    """One reading of both ends, and its trial."""

    ends: Ends
    trial: Trial


def journey_end(freshest: Hours, by_source: Sequence[Hours], wanted: set[datetime]) -> JourneyEnd:
    """Return one end of the journey; `wanted` are the hours in which a difference matters."""
    others, rivalries = [], []
    for hours in by_source:
        apart = _farthest_apart(freshest, hours, wanted)
        if apart is not None and apart[0] > DISAGREE_C:
            others.append(merged_hours(hours, freshest))
            names = (freshest.source, hours.source)
            rivalries.append(SourceConflict(freshest.label, freshest.timezone, names, *apart))
    return JourneyEnd(freshest, tuple(others), tuple(rivalries), len(by_source), tuple(by_source))


def _farthest_apart(first: Hours, second: Hours, wanted: set[datetime]) -> tuple[float, datetime] | None:
    gaps = [
        (abs(mine - theirs), at)
        for at, mine, theirs in zip(first.times, first.c, second.c, strict=True)
        if mine is not None and theirs is not None and at in wanted
    ]
    return max(gaps, default=None)


def merged_hours(rival: Hours, rest: Hours) -> Hours:
    """Return the hours of `rival`, filled from `rest` where it has none; both cover the same times."""
    mine = [value is not None for value in rival.c]

    def merged(name: str) -> Any:
        mine_by_hour, rest_by_hour = (getattr(hours, name) for hours in (rival, rest))
        if not mine_by_hour and not rest_by_hour:
            return ()
        usual = (USUAL_WHERE_EMPTY.get(name),) * len(mine)
        rows = zip(mine, mine_by_hour or usual, rest_by_hour or usual, strict=True)
        return tuple(here if has else there for has, here, there in rows)

    together = dict.fromkeys((*rival.sources, *(() if all(mine) else rest.sources)))
    return replace(
        rival,
        **{name: merged(name) for name in BY_HOUR},
        sources=tuple(together),
        credits=tuple(dict.fromkeys((*rival.credits, *rest.credits))),
    )


def readings(origin: JourneyEnd, destination: JourneyEnd) -> list[Ends]:
    """Return every pair of readings for the two ends, the freshest pair first."""
    return [Ends(first, second) for first, second in product(origin.all, destination.all)]


def worst_trial(alternatives: Sequence[Alternative]) -> Trial:
    """Return a trial in which every kit has its worst result of all alternatives."""
    first = alternatives[0].trial
    columns = zip(*(each.trial.tried for each in alternatives), strict=True)
    return replace(first, tried=tuple(max(column, key=harm_rank) for column in columns))


def harm_rank(tried: KitTrial) -> tuple[int, float, float]:
    """Return a sort key for how bad a result is, best first; the first reading wins a tie."""
    risk = tried.outcome
    return HARM[risk.verdict], risk.hard.failed_or_unknown, risk.comfort.failed_or_unknown


def decisive_alternative(alternatives: Sequence[Alternative], tried: KitTrial) -> Alternative:
    """Return the alternative that a result came from."""
    return next(each for each in alternatives if any(mine is tried for mine in each.trial.tried))
