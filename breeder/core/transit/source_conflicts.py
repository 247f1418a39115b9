"""Two sources for the same hours: where they differ too much a box is tried with both, the worse decides. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import product

from breeder.core.thermal.verdict import HARM
from breeder.core.transit.place_air import Ends
from breeder.core.transit.trial_result import Trial, Tried
from breeder.core.transit.weather_hours import Hours

# Twice the spread of a forecast of tomorrow (about 2 °C): farther apart, one of two sources is plainly wrong (keeper
# default, common practice).
DISAGREE_C = 4.0

# What hours carry one by one; of some nothing is kept where every hour has the usual value.
USUAL_WHERE_EMPTY = {"sd_share": 1.0, "coarse": False, "spread": False, "anchored": False}
BY_HOUR = ("c", "issued", "extra_sd_c", "filled", *USUAL_WHERE_EMPTY)


@dataclass(frozen=True)
class Rivalry:
    """Two sources of one place that say different things, farthest apart by `apart_c` at `at`."""

    label: str
    timezone: str
    sources: tuple[str, str]
    apart_c: float
    at: datetime


@dataclass(frozen=True)
class Side:
    """One end of the way: its freshest hours, the hours led by each source that disagrees, and how many sources."""

    freshest: Hours
    others: tuple[Hours, ...] = ()
    rivalries: tuple[Rivalry, ...] = ()
    sources: int = 1
    by_source: tuple[Hours, ...] = ()

    def hours_with(self, name: str, wanted: set[datetime]) -> int:
        """Return for how many wanted hours some source gives its `spread`, or has them `anchored`."""
        given: set[datetime] = set()
        for hours in self.by_source or (self.freshest,):
            given |= {at for at, flag in zip(hours.times, getattr(hours, name), strict=False) if flag}
        return len(given & wanted)

    @property
    def all(self) -> tuple[Hours, ...]:
        """Return every way to read this end's hours, the freshest first."""
        return (self.freshest, *self.others)


@dataclass(frozen=True)
class Alternative:
    """One reading of both ends, and what came of trying it."""

    ends: Ends
    trial: Trial


def side_of(freshest: Hours, by_source: Sequence[Hours], wanted: set[datetime]) -> Side:
    """Return one end of the way; `wanted` are the hours in which a difference matters."""
    others, rivalries = [], []
    for hours in by_source:
        apart = _farthest_apart(freshest, hours, wanted)
        if apart is not None and apart[0] > DISAGREE_C:
            others.append(led_by(hours, freshest))
            names = (freshest.source, hours.source)
            rivalries.append(Rivalry(freshest.label, freshest.timezone, names, *apart))
    return Side(freshest, tuple(others), tuple(rivalries), len(by_source), tuple(by_source))


def _farthest_apart(one: Hours, other: Hours, wanted: set[datetime]) -> tuple[float, datetime] | None:
    gaps = [
        (abs(mine - theirs), at)
        for at, mine, theirs in zip(one.times, one.c, other.c, strict=True)
        if mine is not None and theirs is not None and at in wanted
    ]
    return max(gaps, default=None)


def led_by(rival: Hours, rest: Hours) -> Hours:
    """Return the rival's hours, with the rest's where it has none; both over the same times."""
    mine = [value is not None for value in rival.c]

    def merged(name: str) -> tuple[object, ...]:
        own, other = (getattr(one, name) for one in (rival, rest))
        if not own and not other:
            return ()
        usual = (USUAL_WHERE_EMPTY.get(name),) * len(mine)
        rows = zip(mine, own or usual, other or usual, strict=True)
        return tuple(here if has else there for has, here, there in rows)

    together = dict.fromkeys((*rival.sources, *(() if all(mine) else rest.sources)))
    return replace(
        rival,
        **{name: merged(name) for name in BY_HOUR},
        sources=tuple(together),
        credits=tuple(dict.fromkeys((*rival.credits, *rest.credits))),
    )


def readings(origin: Side, destination: Side) -> list[Ends]:
    """Return every pair of readings of both ends, the freshest pair first."""
    return [Ends(one, other) for one, other in product(origin.all, destination.all)]


def worse_of(alternatives: Sequence[Alternative]) -> Trial:
    """Return the trial in which every kit has what came of it in the worst of the alternatives."""
    first = alternatives[0].trial
    columns = zip(*(one.trial.tried for one in alternatives), strict=True)
    return replace(first, tried=tuple(max(column, key=harm) for column in columns))


def harm(tried: Tried) -> tuple[int, float, float]:
    """Return how bad an outcome is, least first; ties go to the reading that stands first."""
    found = tried.outcome
    return HARM[found.verdict], found.hard.failed_or_unknown, found.comfort.failed_or_unknown


def decisive(alternatives: Sequence[Alternative], tried: Tried) -> Alternative:
    """Return the alternative that an outcome came from."""
    return next(one for one in alternatives if any(mine is tried for mine in one.trial.tried))
