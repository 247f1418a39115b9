"""What the book relied on in a tub over time, as the numbers of an SVG: safe bound, likely number, counts, looks."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import ceil

from django.utils import timezone

from breeder.core import stock as census
from breeder.cultures.entry_text import sentence_of
from breeder.cultures.models import Culture, Entry
from breeder.cultures.tub_ledger import Held, Ledger, in_local_days

WIDTH, HEIGHT = 640, 220
LEFT, RIGHT, TOP, BOTTOM = 46, 628, 12, 184
LOOK_TOP, LOOK_BOTTOM = 188, 196  # the ticks of looks, under the axis
LONGEST = timedelta(days=730)
SAMPLES = 60
LEAST_TOP = 10  # animals: a lower chart would make a story of single animals
STEPS = (1, 2, 5, 10, 20, 25, 50, 100, 200, 250, 500, 1000, 2500, 5000, 10_000, 25_000)
TICKS = 4


@dataclass(frozen=True)
class Tick:
    """One line of the grid."""

    y: float
    said: str


@dataclass(frozen=True)
class Dot:
    """One count."""

    x: float
    y: float
    at: datetime
    estimate: float


@dataclass(frozen=True)
class Look:
    """One look into the tub; `seen` is empty when all was well."""

    x: float
    at: datetime
    seen: tuple[str, ...]


@dataclass(frozen=True)
class Read:
    """What the book relied on at one moment, and what happened then, in words."""

    at: datetime
    lower: int
    likely: float
    said: str = ""


@dataclass(frozen=True)
class Chart:
    """Everything that the SVG of one tub and stage needs."""

    stage: str
    band: str
    lower: str
    likely: str
    dots: tuple[Dot, ...]
    taken: tuple[float, ...]
    looks: tuple[Look, ...]
    ticks: tuple[Tick, ...]
    first: datetime
    last: datetime
    rows: tuple[Read, ...]
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right: int = RIGHT
    bottom: int = BOTTOM
    look_top: int = LOOK_TOP
    look_bottom: int = LOOK_BOTTOM

    @property
    def looks_well(self) -> int:
        """Return how many looks found all well."""
        return sum(not look.seen for look in self.looks)

    @property
    def looks_else(self) -> tuple[Look, ...]:
        """Return the looks that found something."""
        return tuple(look for look in self.looks if look.seen)


def chart_of(
    book: Ledger, tub: Culture, stage: str, now: datetime, looks: Sequence[tuple[datetime, Sequence[str]]] = ()
) -> Chart | None:
    """Return the chart of one tub and stage; None until there are two moments to join.

    `looks` are the tub's looks that stand, with what was seen.
    """
    story = book.story(tub.pk, stage)
    if not story:
        return None
    first = max(story[0][0].happened_at, now - LONGEST)
    if now - first < timedelta(days=1):
        return None
    told = _told(story, [(at, seen) for at, seen in looks if at >= first and not _is_well(seen)])
    reads = _reads(book, tub, stage, story, first, now, told)
    counts = [entry for entry, _ in story if entry.kind == Entry.Kind.COUNT and entry.happened_at >= first]
    most = max([read.likely for read in reads] + [entry.estimate or 0.0 for entry in counts] + [LEAST_TOP])
    frame = _Frame(first, now, _round_up(most))
    low = [(frame.x(read.at), frame.y(read.lower)) for read in reads]
    high = [(frame.x(read.at), frame.y(read.likely)) for read in reads]
    took = [entry for entry, _ in story if (entry.number or 0) < 0 and entry.happened_at >= first]
    return Chart(
        stage=stage,
        band=_path([*low, *reversed(high)]) + "Z",
        lower=_path(low),
        likely=_path(high),
        dots=tuple(
            Dot(frame.x(e.happened_at), frame.y(e.estimate or 0.0), e.happened_at, e.estimate or 0.0) for e in counts
        ),
        taken=tuple(frame.x(entry.happened_at) for entry in took),
        ticks=tuple(Tick(frame.y(value), str(value)) for value in range(0, frame.top + 1, frame.step)),
        first=first,
        last=now,
        rows=tuple(read for read in reads if read.said or read.at == now),
        looks=tuple(
            Look(frame.x(at), at, () if _is_well(seen) else tuple(seen)) for at, seen in looks if first <= at <= now
        ),
    )


def _reads(
    book: Ledger,
    tub: Culture,
    stage: str,
    story: list[tuple[Entry, Held]],
    first: datetime,
    now: datetime,
    told: dict[datetime, str],
) -> list[Read]:
    """Return what was relied on at even moments and at every entry, by what is known today of those days."""
    every = (now - first) / SAMPLES
    moments = {first + every * step for step in range(SAMPLES)} | {now}
    moments |= {at for at in told if at >= first}
    at = [entry.happened_at for entry, _ in story]
    ageing, confidence, found = book.ageing(tub.pk), float(tub.line.confidence), []
    for moment in sorted(moments):
        belief = story[bisect_right(at, moment) - 1][1].belief
        if belief is None:
            continue
        on, belief = timezone.localdate(moment), in_local_days(belief)
        at_least = census.lower(belief, on, confidence, ageing, stage)
        expected = census.aged(belief, on, ageing, stage).expected
        found.append(Read(moment, at_least, expected, told.get(moment, "")))
    return found


def _told(story: list[tuple[Entry, Held]], looks: list[tuple[datetime, Sequence[str]]]) -> dict[datetime, str]:
    """Return what happened at each moment of the story, in words."""
    told: dict[datetime, str] = {}
    for entry, _ in story:
        told[entry.happened_at] = f"{told.get(entry.happened_at, '')} {sentence_of(entry)}".strip()
    for at, seen in looks:
        told[at] = f"{told.get(at, '')} Looked: {', '.join(seen)}.".strip()
    return told


def _is_well(seen: Sequence[str]) -> bool:
    return not [flag for flag in seen if flag != "well"]


@dataclass(frozen=True)
class _Frame:
    first: datetime
    last: datetime
    top: int

    @property
    def step(self) -> int:
        return next((step for step in STEPS if step * TICKS >= self.top), self.top)

    def x(self, at: datetime) -> float:
        return round(LEFT + (at - self.first) / (self.last - self.first) * (RIGHT - LEFT), 1)

    def y(self, animals: float) -> float:
        return round(BOTTOM - min(1.0, animals / self.top) * (BOTTOM - TOP), 1)


def _round_up(most: float) -> int:
    step = next((step for step in STEPS if step * TICKS >= most), STEPS[-1])
    return ceil(most / step) * step


def _path(points: list[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{x} {y}" for x, y in points)
